"""Who is at the simulated rig: the page's own hands, wearer and troubles, on --port sim only."""

from collections.abc import Callable
from typing import Any, NamedTuple

from legsim.rig import Rig
from legsim.troubles import TROUBLES, Trouble

from hocklift.benchpage.columns import LEGS
from hocklift.errors import BoardError
from hocklift.recording import walk

JOINTS = ("thigh", "shank")
_WALK_S = 120.0
# What else is a trouble of the program's own memory cannot be put in from outside.
_OUTSIDE = {"board.settings_bad", "board.host", "board.crashed"}
CARRIED_KG = (1.0, 150.0)
WEARER_KG = (20.0, 200.0)


def possible() -> list[Trouble]:
    """The troubles that can strike from outside the board, while somebody looks on."""
    return [
        trouble
        for trouble in TROUBLES
        if not trouble.place.startswith("core ") and trouble.place not in _OUTSIDE and trouble.value
    ]


class Struck(NamedTuple):
    """A trouble that holds: the plant's number that it changed, until when; None is for good."""

    name: str
    where: str
    place: str
    until_s: float | None


class People:
    """Everybody at the simulated rig; all of it may be called at any time."""

    def __init__(self, board: Any, rig: Rig) -> None:
        self.board = board
        self.rig = rig
        self.armed = self.stopped = self.stand = self.walks = False
        self.walks_until_s = 0.0
        self.raised = [False, False]
        self.lean = self.stick = 0.0
        self.carried_kg = rig.mechanism.carried_mass_kg
        self.wearer_kg = rig.hip.wearer_mass_kg
        self.struck: list[Struck] = []

    def arm(self, closed: bool) -> None:
        """Close the arm input, or open it."""
        self.armed = closed
        self.board.arm(closed)

    def stop(self, pressed: bool) -> None:
        """Press the emergency stop, or release it."""
        self.stopped = pressed
        self.board.stop(pressed)

    def raise_foot(self, leg: int, up: bool) -> None:
        """Raise a foot, or put it down."""
        self.walks = False
        self.raised[leg] = up
        self.board.raise_foot(leg, up)

    def lean_over(self, side: float) -> None:
        """Lean over: -1 left, 1 right."""
        self.lean = side
        self.board.lean(side)

    def push_stick(self, place: float) -> None:
        """Push the stick: 1 stoops as fast as it can, -1 rises; 0 lets it spring back."""
        self.stick = place
        self.board.push_stick(place)

    def let_go(self) -> None:
        """The hand that held something is gone: what springs back does so."""
        if self.stick:
            self.push_stick(0.0)

    def on_stand(self, on: bool) -> None:
        """Hang the frame on its stand, or put it down."""
        self.stand = on
        self.board.on_stand(on)

    def weigh(self, carried_kg: float, wearer_kg: float) -> None:
        """Change what the frame carries, and who wears it."""
        self.carried_kg, self.wearer_kg = carried_kg, wearer_kg
        self.board.weigh(carried_kg, wearer_kg)

    def walk(self, on: bool) -> None:
        """Walk as in the built-in recording, or stand still."""
        self.walks = on
        if on:
            self.walks_until_s = self.board.now_s + _WALK_S
            walk(self.board, self.rig, _WALK_S, 1)
            self.armed, self.raised = True, [False, False]
        else:
            for leg in range(len(LEGS)):
                self.raise_foot(leg, False)

    def power(self) -> None:
        """Take the board's power and give it back."""
        self.board.reset()

    def trouble(self, name: str, leg: int, joint: str) -> None:
        """Let a trouble strike."""
        row = next((row for row in possible() if row.name == name), None)
        if row is None:
            raise BoardError(f"{name}: there is no such trouble")
        place = row.place.format(leg=LEGS[leg], joint=joint)
        self.board.set_trouble(place, row.value)
        until_s = self.board.now_s + row.lasts_s if row.lasts_s else None
        where = " ".join(
            word for word, there in ((LEGS[leg], "{leg}"), (joint, "{joint}")) if there in row.place
        )
        self.struck = [one for one in self.struck if one.place != place]
        self.struck.append(Struck(row.name, where, place, until_s))

    def heal(self) -> None:
        """End all troubles."""
        for one in self.struck:
            self.board.set_trouble(one.place, 0.0)
        self.struck = []

    def pass_time(self) -> None:
        """End what lasts only a while."""
        if self.walks and self.board.now_s >= self.walks_until_s:
            self.walks = False
        for one in list(self.struck):
            if one.until_s is not None and self.board.now_s >= one.until_s:
                self.board.set_trouble(one.place, 0.0)
                self.struck.remove(one)

    def state(self) -> dict[str, Any]:
        """As the page shows it."""
        return {
            "armed": self.armed,
            "stopped": self.stopped,
            "stand": self.stand,
            "walks": self.walks,
            "raised": self.raised,
            "lean": self.lean,
            "stick": self.stick,
            "carried_kg": self.carried_kg,
            "wearer_kg": self.wearer_kg,
            "struck": [f"{one.name} {one.where}".strip() for one in self.struck],
        }


# What the page may have them do: name -> who does it with the fields of the page's message.
ACTS: dict[str, Callable[[People, dict[str, Any]], None]] = {
    "arm": lambda people, asked: people.arm(asked["on"]),
    "emergency": lambda people, asked: people.stop(asked["on"]),
    "foot": lambda people, asked: people.raise_foot(asked["leg"], asked["on"]),
    "lean": lambda people, asked: people.lean_over(asked["side"]),
    "stick": lambda people, asked: people.push_stick(asked["place"]),
    "stand": lambda people, asked: people.on_stand(asked["on"]),
    "weigh": lambda people, asked: people.weigh(asked["carried_kg"], asked["wearer_kg"]),
    "walk": lambda people, asked: people.walk(asked["on"]),
    "power": lambda people, asked: people.power(),
    "trouble": lambda people, asked: people.trouble(asked["name"], asked["leg"], asked["joint"]),
    "heal": lambda people, asked: people.heal(),
}
