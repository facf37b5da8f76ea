"""A board with a prompt, for the tests of `flash`: real MicroPython on a real littlefs.

The file system is an image file; the port is a pseudo-terminal. What comes from the host is
counted, and may be changed or cut off on the way; power may fail in any block operation.
"""

import os
import select
import signal
import subprocess
import sys
import termios
import threading
import tty
from pathlib import Path

INSIDE = Path(__file__).with_name("raw_repl_inside.py")
MICROPYTHON = Path(sys.executable).with_name("micropython")
BLOCK = 4096
ROOM = 512
_BANNER_END = b"CTRL-B to exit\r\n>"
_SOFT_REBOOT = b"MPY: soft reboot\r\nraw REPL; " + _BANNER_END
# Ctrl-C comes from a process's own terminal only.
_IN_A_TERMINAL = (
    "import fcntl, os, sys, termios\n"
    "os.setsid()\n"
    "fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n"
    "os.execv(sys.argv[1], sys.argv[1:])"
)


class ReplBoard:
    """One board, plugged in while its context lasts; `fails_at`: see raw_repl_inside.py."""

    def __init__(self, image, blocks=64, platform="rp2", version="1.29.0", fails_at=0):
        if not image.exists():
            image.write_bytes(b"\xff" * BLOCK * blocks)
        self.words = [image, str(blocks), platform, version]
        self.fails_at = fails_at
        # Bytes from the host so far, and after how many the cable comes off; 0: never.
        self.received = 0
        self.cut_at = 0
        self.change = lambda data: data
        self.plugged = True
        self.ends = False
        self.to_host, self.to_inside = bytearray(), bytearray()
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.start("run")
        self.thread = threading.Thread(target=self._carry)
        self.thread.start()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.ends = True
        self.thread.join()
        self.process.kill()
        self.process.wait()
        for end in (self.inside, self.slave, *([self.master] if self.plugged else [])):
            os.close(end)

    def start(self, mode):
        """Power comes, or a reset: MicroPython runs main.py, or goes straight to its prompt."""
        self.inside, terminal = os.openpty()
        tty.setraw(terminal)
        settings = termios.tcgetattr(terminal)
        settings[3] |= termios.ISIG
        settings[6][termios.VINTR] = b"\x03"
        settings[6][termios.VQUIT] = settings[6][termios.VSUSP] = b"\x00"
        termios.tcsetattr(terminal, termios.TCSANOW, settings)
        fails_at = self.fails_at if mode == "prompt" else 0
        program = [MICROPYTHON, "-i", INSIDE, *self.words, mode, str(fails_at)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", _IN_A_TERMINAL, *program],
            stdin=terminal,
            stdout=terminal,
            stderr=terminal,
        )
        os.close(terminal)

    def _carry(self):
        """Carry bytes both ways until the end, never waiting for one way only."""
        while not self.ends and self.plugged:
            writers = [self.master] * bool(self.to_host) + [self.inside] * bool(self.to_inside)
            # A port takes no more than it has room for.
            readers = [self.inside] + [self.master] * (len(self.to_inside) < ROOM)
            ready, free, _ = select.select(readers, writers, [], 0.02)
            if self.master in free:
                del self.to_host[: os.write(self.master, self.to_host[:256])]
            if self.inside in free:
                del self.to_inside[: os.write(self.inside, self.to_inside[:256])]
            if self.master in ready:
                self._hear(os.read(self.master, 256))
            if self.inside in ready:
                self._answer()

    def _hear(self, data):
        if self.cut_at:
            data = data[: self.cut_at - self.received]
        self.received += len(data)
        self.to_inside += self.change(data)
        if self.received == self.cut_at:
            self._unplug()

    def _answer(self):
        try:
            self.to_host += os.read(self.inside, 4096)
        except OSError:
            self._restart()

    def _restart(self):
        """The program inside has ended: power failed, or it was a reset, or a soft one."""
        how = self.process.wait()
        if how == -signal.SIGKILL:
            self._unplug()
            return
        os.close(self.inside)
        self.to_inside.clear()
        if how == -signal.SIGUSR1:
            self.start("run")
            return
        self.start("prompt")
        os.write(self.inside, b"\x01")
        banner = b""
        while not banner.endswith(_BANNER_END):
            banner += os.read(self.inside, 256)
        self.to_host += _SOFT_REBOOT

    def _unplug(self):
        self.plugged = False
        os.close(self.master)


def boots(image, blocks=64):
    """Power the board once, and return what its main.py prints."""
    return subprocess.run(
        [MICROPYTHON, INSIDE, image, str(blocks), "rp2", "1.29.0", "run", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=20,
        check=False,
    ).stdout.decode()
