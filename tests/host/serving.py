"""A bench page served in this process, to whoever the tests let knock at its door."""

import contextlib
import json
import socket
import struct
import threading
import time
from itertools import pairwise

import numpy as np
import uvicorn
from fakeboard import PERIOD_S, FakeBoard
from hocklift.benchpage.asks import BYTES_MOST
from hocklift.benchpage.columns import COLUMNS
from hocklift.benchpage.live import Live
from hocklift.benchpage.server import HOST, application
from legsim.rig import Rig
from websockets.sync.client import connect

TOKEN = "a-token-for-tests"
# Longer than anything here takes, on a computer that has much else to do.
PATIENCE_S = 20.0


class PacedBoard(FakeBoard):
    """A board that ticks by the wall's clock; `deaf_to` lines are lost on their way to it."""

    real = True
    began_s = 0.0

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.deaf_to = []

    def now_s(self):
        return time.monotonic()

    def let_pass(self):
        super().let_pass()
        asks = self.link.asks
        if asks.keep:
            asks.keep = 0
            why_not = self.store.keep(asks.day)
            self.link.answer(0 if why_not else 1, why_not)

    def read(self, most, timeout_s):
        end_s = time.monotonic() + timeout_s
        self.began_s = self.began_s or time.monotonic()
        while not self.out:
            due_s = self.began_s + self.passed * PERIOD_S
            now_s = time.monotonic()
            # A tick that this computer had no time for comes later, not with others at once.
            self.began_s += max(0.0, now_s - due_s - PERIOD_S)
            if now_s >= due_s:
                self.passed += 1
                self.let_pass()
            elif now_s >= end_s:
                break
            else:
                time.sleep(min(due_s, end_s) - now_s)
        data = bytes(self.out[:most])
        del self.out[:most]
        return data

    def write(self, data):
        word = data.split(b"*")[0].decode()
        if word in self.deaf_to:
            self.deaf_to.remove(word)
            self.heard.append(f"lost {word}")
            return
        super().write(data)


class Served:
    """One bench that is open: where, and what is behind it."""

    def __init__(self, live, port):
        self.live = live
        self.port = port
        self.host = f"{HOST}:{port}"
        self.origin = f"http://{self.host}"

    def address(self, token=TOKEN):
        return f"{self.origin}/?token={token}"

    def knock(self, *, token=TOKEN, origin="own"):
        """Open the stream as a page does, or as one that should not."""
        query = "" if token is None else f"?token={token}"
        return connect(
            f"ws://{self.host}/stream{query}",
            origin=self.origin if origin == "own" else origin,
            open_timeout=PATIENCE_S,
            max_size=1 << 20,
            max_queue=None,
        )


class Visitor:
    """A page without a screen: it asks, and gathers what it is told."""

    def __init__(self, served, **knock):
        self._knock = served.knock(**knock)
        self.socket = self._knock.__enter__()
        self.told = []
        self.rows = []
        self.beats = False
        self._beat_s = 0.0

    def __enter__(self):
        return self

    def __exit__(self, *why):
        self._knock.__exit__(*why)

    def ask(self, word, **fields):
        self.socket.send(json.dumps({"ask": word, **fields}))

    def take_in(self, seconds=0.1):
        """Let in what comes within so long."""
        end_s = time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            if self.beats and time.monotonic() - self._beat_s > 0.1:
                self._beat_s = time.monotonic()
                self.ask("beat")
            try:
                message = self.socket.recv(timeout=min(left_s, 0.05))
            except TimeoutError:
                continue
            if isinstance(message, bytes):
                self.rows.append(rows_of(message))
            else:
                self.told.append(json.loads(message))

    def until(self, found, what):
        """Let in until something is found in what was told: a function of one message."""
        end_s = time.monotonic() + PATIENCE_S
        at = 0
        while time.monotonic() < end_s:
            while at < len(self.told):
                if result := found(self.told[at]):
                    return result
                at += 1
            self.take_in()
        raise AssertionError(f"never told: {what}; last: {self.told[-3:]}")

    def answer(self, word, **fields):
        """Ask, and wait for the answer."""
        self.told = [one for one in self.told if one["kind"] != "answer"]
        self.ask(word, **fields)
        return self.until(
            lambda one: one if one["kind"] == "answer" and one["to"] == word else None, word
        )

    def state(self, found, what):
        """Wait for a state of which something is true, from now on."""
        self.told = []
        return self.until(lambda one: one if one["kind"] == "state" and found(one) else None, what)

    def steps(self):
        """How many ticks lie from each tick that came to the next."""
        times_s = [time_s for batch, _ in self.rows for time_s in batch]
        return {round((b - a) / PERIOD_S) for a, b in pairwise(times_s)}

    def in_charge(self):
        """Whether this page is, as it was told last."""
        self.take_in(0.3)
        return [one["mine"] for one in self.told if one["kind"] == "charge"][-1]


def rows_of(message):
    """(time of each row, columns by name) of what the page is sent of the ticks."""
    (start,) = struct.unpack("<d", message[:8])
    rows = np.frombuffer(message[8:], np.float32).reshape(-1, len(COLUMNS))
    return start + rows[:, 0].astype(float), dict(zip(COLUMNS, rows.T, strict=True))


@contextlib.contextmanager
def served(open_port, folder, rig=None):
    """A bench at a port of this computer."""
    live = Live(open_port, rig or Rig(), rig, folder)
    with socket.create_server((HOST, 0)) as door:
        port = door.getsockname()[1]
        config = uvicorn.Config(
            application(live, port, TOKEN),
            log_level="warning",
            ws_max_size=BYTES_MOST,
            ws_per_message_deflate=False,
            timeout_graceful_shutdown=1,
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=lambda: server.run(sockets=[door]), daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield Served(live, port)
        finally:
            server.should_exit = True
            thread.join()
            live.close()
