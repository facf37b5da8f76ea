"""Who is asked at the bench: a person at a terminal, or simulated hands at the simulated rig.

Every request says in words what a person does, and as a function what simulated hands do.
"""

from collections.abc import Callable
from typing import Any, Protocol

from rich.console import Console

from hocklift.device import Device
from hocklift.errors import HockliftError

# What simulated hands do, given the simulated board.
Act = Callable[[Any], object]

YES = ("y", "yes")
# A simulated hand turns a leg from stop to stop in less than this.
_HAND_S = 1.5
_PERSON_S = 60.0
_SIM_S = 5.0


class NobodyError(HockliftError):
    """A question that nobody is there to answer."""


class Asker(Protocol):
    """`patience_s`: how long to wait for what was asked to be seen."""

    patience_s: float

    def tell(self, words: str) -> None:
        """Say something."""

    def do(self, words: str, act: Act) -> None:
        """Ask for something that will be seen on the wire, and go on at once."""

    def wait(self, words: str, act: Act) -> None:
        """Ask for something, and go on when it is done."""

    def ask(self, words: str, answer: Callable[[Any], str]) -> str:
        """Ask a question; the answer without spaces around it."""

    def confirm(self, words: str) -> bool:
        """Ask yes or no."""


class Person:
    """Somebody at a terminal."""

    patience_s = _PERSON_S

    def __init__(self, console: Console) -> None:
        self.console = console

    def tell(self, words: str) -> None:
        """Print it."""
        say(self.console, words)

    def do(self, words: str, act: Act) -> None:
        """Print it."""
        say(self.console, f"> {words}")

    def wait(self, words: str, act: Act) -> None:
        """Print it, and wait for Enter."""
        self._input(f"> {words} Then press Enter.")

    def ask(self, words: str, answer: Callable[[Any], str]) -> str:
        """Print it, and read a line."""
        return self._input(f"> {words}")

    def confirm(self, words: str) -> bool:
        """Only `y` or `yes` is yes."""
        return self._input(f"> {words} (yes or no)").lower() in YES

    def _input(self, words: str) -> str:
        say(self.console, words)
        try:
            return input().strip()
        except EOFError as error:
            raise NobodyError(
                "nobody answers: the input has ended; run this in a terminal, with the rig"
                " before you"
            ) from error


class SimHands:
    """Hands at the simulated rig; they do at once what is asked, and answer truly."""

    patience_s = _SIM_S

    def __init__(self, console: Console, device: Device) -> None:
        self.console = console
        self.device = device
        self.board = device.transport.board

    def tell(self, words: str) -> None:
        """Print it."""
        say(self.console, words)

    def do(self, words: str, act: Act) -> None:
        """Print it and do it."""
        self.tell(f"> {words}")
        act(self.board)

    def wait(self, words: str, act: Act) -> None:
        """Print it, do it, and let the time pass that hands take."""
        self.do(words, act)
        for _ in self.device.frames(_HAND_S):
            pass

    def ask(self, words: str, answer: Callable[[Any], str]) -> str:
        """Answer as things are."""
        text = answer(self.board)
        self.tell(f"> {words} {text}")
        return text

    def confirm(self, words: str) -> bool:
        """Nobody can be hurt in there."""
        self.tell(f"> {words} yes")
        return True


def asker_of(device: Device, console: Console) -> Asker:
    """A person at a real port, simulated hands at a simulated one; says which."""
    about = f"The board is {device.transport.about}."
    console.print(about, highlight=False, markup=False, soft_wrap=True)
    if device.transport.board is None:
        return Person(console)
    say(console, "Simulated hands do what is asked of you here.")
    return SimHands(console, device)


def say(console: Console, words: str) -> None:
    """Print plain words, wrapped to the terminal."""
    console.print(words, highlight=False, markup=False)
