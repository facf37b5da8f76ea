"""Recorders that are killed at random moments; prints what each of them had read and not kept.

Run by itself, so that forking takes nothing of a test runner with it: FOLDER COUNT. What a
recorder had read is what its port no longer holds.
"""

import json
import os
import random
import select
import signal
import sys
import time
import tty
from pathlib import Path

from fakeboard import FakeBoard, walked_inputs
from hocklift.device import Device
from hocklift.recording import record
from hocklift.transport import SerialPort


def kill_one(folder, chance):
    """Frames that one recorder had read whole and that are not in its file, and how many are."""
    folder.mkdir()
    path = folder / "a.log"
    terminal, port = os.openpty()
    tty.setraw(port)
    os.set_blocking(terminal, False)
    child = os.fork()
    if child == 0:
        record(Device(SerialPort(os.ttyname(port))), path, None, None)
        os._exit(1)
    board = FakeBoard(folder, walked_inputs())
    sent = bytearray()
    left = chance.randrange(1, 400)
    while left:
        if select.select([terminal], [], [], 0.001)[0]:
            board.write(os.read(terminal, 4096))
        board.let_pass()
        sent += board.out
        os.write(terminal, board.out)
        board.out.clear()
        left -= path.exists()
    time.sleep(chance.random() * 0.001)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    unread = drained(port)
    os.close(terminal)
    os.close(port)
    read = bytes(sent[: len(sent) - unread])
    kept = path.read_bytes().partition(b"\0")[2]
    # The file begins with the hello that was answered.
    begun = read.index(kept[:60]) if len(kept) >= 60 else 0
    return read.count(b"\0", begun) - kept.count(b"\0"), kept.count(b"\0")


def drained(port):
    """How many bytes are still in a terminal that nobody reads any more."""
    os.set_blocking(port, False)
    count = 0
    quiet = 0
    while quiet < 5:
        try:
            data = os.read(port, 4096)
        except BlockingIOError:
            data = b""
        count += len(data)
        quiet = 0 if data else quiet + 1
        time.sleep(0.002)
    return count


if __name__ == "__main__":
    top, number = Path(sys.argv[1]), int(sys.argv[2])
    walked_inputs()
    results = [kill_one(top / str(i), random.Random(i)) for i in range(number)]
    print(json.dumps(results))
