"""The prompt that a board shows when its program has ended, as far as upload tools need it.

MicroPython's raw mode (its documentation, reference/repl): code comes in up to Ctrl-D, at once or
in windows that the board asks for; it runs; what it printed and what it failed of go out, each up
to Ctrl-D.
"""

import gc
import select
import sys

from legsim.simboard.exchange import HAS_ENDED
from legsim.simboard.inside import port
from legsim.simboard.inside.wires import RAISED, wires

CTRL_A, CTRL_B, CTRL_C, CTRL_D, CTRL_E = 1, 2, 3, 4, 5
_BANNER = b"MicroPython %d.%d.%d\r\n" % sys.implementation.version[:3]
_FRIENDLY = b'\r\n%sType "help()" for more information.\r\n>>> ' % _BANNER
_RAW = b"raw REPL; CTRL-B to exit\r\n>"
_REBOOT = b"OK\r\nMPY: soft reboot\r\n" + _RAW
_WINDOW = 256
_IDLE_US = 1000


class Prompt:
    """Reads and runs until the power goes; nothing of a program before is left but its outputs."""

    def __init__(self) -> None:
        self.byte = bytearray(1)
        self.poller = select.poll()
        self.poller.register(port.STDIN.buffer, select.POLLIN)  # type: ignore[arg-type]
        self.reboot()

    def reboot(self) -> None:
        """Forget everything, as a soft reset does; raw mode then runs no main.py."""
        self.scope: dict[str, object] = {"__name__": "__main__"}
        gc.enable()
        gc.collect()

    def run(self) -> None:
        """Friendly mode: it only waits for somebody who wants raw mode."""
        self.write(_FRIENDLY)
        while True:
            byte = self.read()
            if byte == CTRL_A:
                self.run_raw()
                self.write(_FRIENDLY)
            elif byte in b"\r\n":
                self.write(b"\r\n>>> ")

    def run_raw(self) -> None:
        """Raw mode, until Ctrl-B."""
        self.write(_RAW)
        code = bytearray()
        while True:
            byte = self.read()
            if byte == CTRL_B:
                return
            if byte == CTRL_A and code == b"\x05A":
                code = bytearray()
                self.write(b"R\x01")
                self.execute(self.pasted())
            elif byte == CTRL_A:
                code = bytearray()
                self.write(_RAW)
            elif byte == CTRL_D and not code:
                self.reboot()
                self.write(_REBOOT)
            elif byte == CTRL_D:
                self.write(b"OK")
                self.execute(code)
                code = bytearray()
            elif byte == CTRL_C:
                code = bytearray()
            else:
                code.append(byte)

    def pasted(self) -> bytearray:
        """Code that comes in windows, of which two may be on their way."""
        self.write(bytes((_WINDOW & 255, _WINDOW >> 8, 1)))
        code = bytearray()
        room = _WINDOW
        while True:
            byte = self.read()
            if byte == CTRL_D:
                self.write(b"\x04")
                return code
            code.append(byte)
            room -= 1
            if room == 0:
                room = _WINDOW
                self.write(b"\x01")

    def execute(self, code: bytearray) -> None:
        """Run code, and say what it failed of, if it did."""
        failed = None
        try:
            exec(code.decode(), self.scope)
        except BaseException as error:  # the prompt takes whatever comes
            failed = error
        self.write(b"\x04")
        if failed is not None:
            port.report(failed)
        self.write(b"\x04>")

    def read(self) -> int:
        """The next byte; until it comes the plant moves on."""
        while not self.poller.poll(0):
            wires.say(HAS_ENDED, wires.now_us + _IDLE_US)
            # Ctrl-C has nothing to interrupt here.
            wires.back[RAISED] = 0
        port.STDIN.buffer.readinto(self.byte)  # type: ignore[attr-defined]  # a raw file
        return self.byte[0]

    def write(self, data: bytes) -> None:
        """Send all of it."""
        port.STDOUT.buffer.write(data)  # type: ignore[attr-defined]
