"""A simulated board with wrong wires, and a bench around it, as several tests here need them."""

import contextlib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import hocklift.commands.calibrate
import hocklift.commands.check
import pytest
from hocklift.checking.bench import Figure
from hocklift.checking.record import FILE, Entry, Record, now_words
from hocklift.checking.steps import STEPS
from hocklift.cli import main
from hocklift.transport import LockstepPort
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE
from legsim.simboard.board import SimBoard
from legsim.simboard.exchange import BACK
from legsim.simboard.files import settings_file

DAY = 9000
DEMO = Rig()


class Wires(SimBoard):
    """A board some of whose sensor wires are swapped, turned round or open."""

    swapped: Mapping[str, str] = MappingProxyType({})
    turned: tuple[str, ...] = ()
    fixed: Mapping[str, int] = MappingProxyType({})

    def _sense(self) -> None:
        super()._sense()
        read = dict(zip(BACK, self._back, strict=True))
        for name, other in self.swapped.items():
            self._back[BACK.index(name)] = read[other]
        for name in self.turned:
            self._back[BACK.index(name)] = FULL_SCALE - read[name]
        for name, value in self.fixed.items():
            self._back[BACK.index(name)] = value


@contextlib.contextmanager
def wired(rig: Rig = DEMO, *, day: int = DAY, **options: Any) -> Iterator[Wires]:
    """A board from power-on, its settings the rig's and calibrated on `day`."""
    board = Wires(rig, **options)
    if not options.get("blank"):
        (board.files / "settings.bin").write_bytes(settings_file(rig, day))
    try:
        yield board
    finally:
        board.close()


class Counting(LockstepPort):
    """Notes each line on its way to the board, until the cable comes off."""

    def __init__(self, cable: "Cable", rig: Rig) -> None:
        super().__init__(cable.board, rig.control.period_s)
        self.cable = cable

    def write(self, data: bytes) -> None:
        if len(self.cable.said) == self.cable.pulled_after:
            self.close()
        self.cable.said.append(data)
        super().write(data)


class Cable:
    """Hands a board to a command; the board stays when the command is over."""

    def __init__(self, patch: pytest.MonkeyPatch, board: Wires) -> None:
        self.board = board
        self.port: LockstepPort | None = None
        # The lines that the host has said, and after how many of them the cable comes off.
        self.said: list[bytes] = []
        self.pulled_after: int | None = None
        for command in (hocklift.commands.calibrate, hocklift.commands.check):
            patch.setattr(command, "open_port", self.open)
        patch.setattr(board, "close", lambda: None)

    def open(self, port: str, rig: Rig) -> LockstepPort:
        assert port == "sim"
        self.port = Counting(self, rig)
        return self.port

    def pull(self) -> None:
        """End the connection."""
        assert self.port is not None
        self.port.close()


@contextlib.contextmanager
def at(rig: Rig = DEMO, **options: Any) -> Iterator[Cable]:
    """A board at the other end of whatever port a command opens."""
    with wired(rig, **options) as board, pytest.MonkeyPatch.context() as patch:
        yield Cable(patch, board)


def interrupt(patch: pytest.MonkeyPatch, words: str, act: Callable[[], None]) -> None:
    """Do something the moment that simulated hands are asked for what has these words."""
    from hocklift.checking.asker import SimHands

    do = SimHands.do

    def struck(self: SimHands, asked: str, by_hands: Any) -> None:
        if words in asked:
            act()
        do(self, asked, by_hands)

    patch.setattr(SimHands, "do", struck)


def settings_bytes(board: SimBoard) -> bytes:
    return (board.files / "settings.bin").read_bytes()


def check_from(cable: Cable, first: str, folder: Path, *options: str) -> int:
    """Run `check` as if every step before `first` had passed in an earlier run."""
    from hocklift.bench_check import mark_parts
    from hocklift.checking.record import mark_of
    from hocklift.device import Device

    device = Device(cable.open("sim", DEMO))
    mark = mark_of(*mark_parts(device, DEMO, device.hello()))
    device.transport.close()
    record = Record(folder / FILE, "demo", mark)
    for step in STEPS:
        if step.name == first:
            return main(["check", "--port", "sim", "--out", str(folder), *options])
        figures = [Figure("as before", 1, "", 1, 1)]
        record.add(Entry(step.name, step.stage, True, now_words(), figures))
    raise LookupError(first)
