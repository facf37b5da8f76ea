"""What runs in the stand-in board's MicroPython: its flash, its chip, its main.py; then the prompt.

Arguments: image of the flash, how many blocks it has, platform and version that it says it is,
"run" or "prompt", and in which block operation the power fails (0: in none).
"""

import os
import sys

import vfs

BLOCK = 4096
IMAGE, BLOCKS, PLATFORM, VERSION, MODE, FAILS_AT = sys.argv[1:7]
# What a file system asks of its blocks.
COUNT, SIZE, ERASE = 4, 5, 6


def end_by(signal):
    """End this process by a signal that the board outside knows."""
    os.system("kill -" + signal + " $PPID")
    while True:
        pass


class Flash:
    """Blocks in a file; whatever changes them may be what the power fails in."""

    def __init__(self):
        self.file = open(IMAGE, "r+b")  # noqa: SIM115  (as long as the board runs)
        self.changes = 0

    def change(self, at, data):
        self.changes += 1
        self.file.seek(at)
        if self.changes == int(FAILS_AT):
            self.file.write(data[: len(data) // 2])
            end_by("KILL")
        self.file.write(data)

    def readblocks(self, number, buffer, offset=0):
        self.file.seek(number * BLOCK + offset)
        self.file.readinto(buffer)

    def writeblocks(self, number, buffer, offset=0):
        self.change(number * BLOCK + offset, buffer)

    def ioctl(self, what, number):
        if what == COUNT:
            return int(BLOCKS)
        if what == SIZE:
            return BLOCK
        if what == ERASE:
            self.change(number * BLOCK, b"\xff" * BLOCK)
        return 0


class Implementation:
    name = "micropython"
    version = tuple([int(part) for part in VERSION.split(".")])
    _mpy = sys.implementation._mpy
    _machine = "stand-in"


class Sys:
    """The module `sys` of the board that this stands in for."""

    platform = PLATFORM
    implementation = Implementation
    path = sys.path
    modules = sys.modules
    stdin = sys.stdin
    stdout = sys.stdout
    print_exception = sys.print_exception


class Chip:
    """The module `machine`: pins and what hangs on them, all quiet."""

    IN = OUT = PULL_UP = 0

    def __init__(self, *args, **options):
        pass

    def __call__(self, *level):
        return 0

    def duty_ns(self, *width):
        pass

    def write_readinto(self, ask, answer):
        pass

    @staticmethod
    def reset():
        end_by("USR1")

    @staticmethod
    def reset_cause():
        return 1

    @staticmethod
    def unique_id():
        return b"stand-in"


Chip.ADC = Chip.Pin = Chip.PWM = Chip.SPI = Chip.WDT = Chip


def mounted():
    flash = Flash()
    try:
        return vfs.VfsLfs2(flash)
    except OSError:
        vfs.VfsLfs2.mkfs(flash)
        return vfs.VfsLfs2(flash)


files = mounted()
vfs.umount("/")
vfs.mount(files, "/")
os.chdir("/")
sys.path[:] = [""]
sys.modules["sys"] = Sys
sys.modules["machine"] = Chip
if MODE == "run" and "main.py" in os.listdir():
    with open("main.py") as file:
        program = file.read()
    exec(program, {"__name__": "__main__"})
