"""Puts all stand-ins in the places of a board's own modules, before the firmware is imported."""

import builtins
import gc
import os
import sys

from legsim.simboard.inside import clock, flash, machine, port
from legsim.simboard.inside.wires import Plant, wires


class Sys:
    """The module `sys` as a board has it; `platform` is set at the start."""

    platform = ""
    implementation = sys.implementation
    path = sys.path
    exit = staticmethod(sys.exit)
    print_exception = staticmethod(port.print_exception)
    stdin = port.STDIN
    stdout = port.STDOUT


class Gc:
    """The module `gc`; a collection stops a board, by emulation of one with 50 kB in use."""

    COLLECT_US = 13000

    disable = staticmethod(gc.disable)
    enable = staticmethod(gc.enable)

    @staticmethod
    def collect() -> None:
        """Collect, and take a board's time for it."""
        gc.collect()
        wires.call(Gc.COLLECT_US)


def starts_by_itself() -> bool:
    """Whether there is a program at all; a new board has none."""
    return "main.py" in os.listdir()


def program_folder() -> str:
    """Where main.py says that its program is."""
    with open("main.py") as file:
        for line in file:
            if line.startswith("PROGRAM = "):
                return line.split('"')[1]
    return "."


def pin_table(platform: str) -> object:
    """The firmware's own pin table; the working folder is the board's flash."""
    name = "legboard.pins_esp32" if platform == "esp32" else "legboard.pins_rp2040"
    before = sys.path[0]
    sys.path[0] = program_folder()
    __import__(name)
    sys.path[0] = before
    return sys.modules[name]


def put_in_place(plant: Plant, platform: str, cause: int, start_ticks_us: int) -> None:
    """Make this process a board."""
    wires.connect(plant, pin_table(platform) if starts_by_itself() else None, start_ticks_us)
    machine.Chip.cause = cause
    Sys.platform = platform
    port.prepare()
    builtins.open = flash.counted_open  # type: ignore[assignment]
    stand_ins: dict[str, object] = {
        "machine": machine,
        "time": clock,
        "gc": Gc,
        "os": flash.Os,
        "sys": Sys,
    }
    for name, module in stand_ins.items():
        sys.modules[name] = module  # type: ignore[assignment]  # what has its names is one
    # From here on the board's flash is all there is of our own.
    sys.path[0] = os.getcwd()
