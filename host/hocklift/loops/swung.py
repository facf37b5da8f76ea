"""What a relay experiment on both legs came to, in figures and words."""

from dataclasses import dataclass
from math import degrees

from hocklift.loops.first import KEYS, First, first_gains
from hocklift.loops.relay import Swing
from hocklift.loops.rules import Ultimate


@dataclass(frozen=True)
class Swung:
    """One leg's experiment: what it did, and the faults that ended it early, by name."""

    leg: str
    time_s: list[float]
    fold_rad: list[float]
    drive: list[float]
    swing: Swing | None
    faults: tuple[str, ...]

    @property
    def why_not(self) -> str:
        """Why there are no figures, or nothing."""
        if self.swing is not None and not self.faults:
            return ""
        if self.faults:
            return f"the board ended it: {', '.join(self.faults)}"
        if not self.time_s:
            return "the leg never came up"
        return "the leg turned round too seldom"


def worst_ultimate(swung: list[Swung]) -> Ultimate | None:
    """The least gain and the longest period of all legs that swung."""
    found = [one.swing.ultimate for one in swung if one.swing is not None and not one.why_not]
    if not found:
        return None
    return Ultimate(min(one.gain for one in found), max(one.period_s for one in found))


@dataclass(frozen=True)
class Relay:
    """What the experiment came to; nothing swung where a person said no."""

    rig_name: str
    swung: list[Swung]

    @property
    def ultimate(self) -> Ultimate | None:
        """Of the leg that swings most easily."""
        return worst_ultimate(self.swung)

    @property
    def first(self) -> list[First]:
        """Gains by every rule."""
        return first_gains(self.ultimate) if self.ultimate else []

    @property
    def doubts(self) -> list[str]:
        """Everything that speaks against the figures."""
        found = [f"{one.leg} leg: {one.why_not}" for one in self.swung if one.why_not]
        for one in self.swung:
            if one.swing is not None and not one.why_not:
                found += [f"{one.leg} leg: {doubt}" for doubt in one.swing.doubts]
        return found

    @property
    def met(self) -> bool:
        """Whether both legs swung regularly."""
        return bool(self.swung) and not self.doubts

    @property
    def verdict(self) -> str:
        """One sentence on what came of it."""
        if not self.swung:
            return "Nothing was moved."
        if self.ultimate is None:
            return f"No leg gave figures: {self.doubts[0]}."
        words = (
            f"Under a gain of {self.ultimate.gain:.3g} per radian a leg would just keep swinging,"
            f" once in {1000 * self.ultimate.period_s:.0f} ms."
        )
        if self.doubts:
            return f"{words} Do not rely on it: {self.doubts[0]}."
        return words


LEG_HEADINGS = ("leg", "swings", "size, deg", "period, ms", "ultimate gain, 1/rad")
GAIN_NOTES = (
    "Such gains are a beginning, on the stand only: put one row into the rig file's control"
    " section, see hocklift margins and hocklift rehearse, then hocklift check, and let"
    " hocklift tune look for better ones.",
    "Cut: the rule's gains, all of them alike, where the rig file cannot hold one of them.",
)


def leg_cells(one: Swung) -> list[str]:
    """One leg's figures, or why there are none."""
    if one.swing is None or one.why_not:
        return [one.leg, "none", "-", "-", "-"]
    swing = one.swing
    return [
        one.leg,
        str(swing.cycles),
        f"{degrees(swing.amplitude_rad):.2f}",
        f"{1000 * swing.period_s:.0f}",
        f"{swing.ultimate.gain:.3g}",
    ]


def gain_cells(first: First) -> list[str]:
    """One rule's gains as the rig file takes them."""
    return [
        *(f"{value:.3g} {key.unit}" for key, value in zip(KEYS, first.values, strict=True)),
        "" if first.share == 1 else f"cut to {100 * first.share:.0f} %",
    ]
