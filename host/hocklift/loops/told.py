"""A rig's margins in words: what they mean for the person at the bench."""

from collections.abc import Callable
from dataclasses import dataclass
from math import degrees, isinf, pi

from legsim.rig import Rig

from hocklift.loops.margins import Margins, PoseMargins, rig_margins, worst

# Peak sensitivity that is thought reasonable: Astrom and Hagglund 1995, as GNU Octave's control
# package quotes them.
PEAK_LEAST, PEAK_MOST = 1.3, 2.0
NOTE = (
    "Linear theory: small motions about each pose, one leg in the air. Held legs are taken"
    " without friction, which is when they swing most easily. Play in the joints, a motor that"
    " starts late and limits of drive are not in it: with them a held leg wanders by a fraction of"
    " a degree at any gain, and the demo rig swings by more than a degree at two thirds of the gain"
    " told here. hocklift rehearse has them all."
)


@dataclass(frozen=True)
class Told:
    """A rig's margins, by phase and pose."""

    rig: Rig
    rig_name: str
    rows: list[PoseMargins]

    @property
    def worst(self) -> PoseMargins:
        """The row nearest to swinging."""
        return worst(self.rows)

    @property
    def met(self) -> bool:
        """Whether every loop is stable and not nervous."""
        margins = self.worst.margins
        return margins is not None and margins.stable and margins.peak <= PEAK_MOST

    @property
    def verdict(self) -> str:
        """One sentence or two on what it means."""
        margins, where = self.worst.margins, place_words(self.worst)
        if margins is None:
            return (
                "The motor cannot carry a leg in any pose, so there is no loop to judge."
                " Next: hocklift size."
            )
        if not margins.stable:
            return (
                f"A leg swings by itself, {where}, with these gains. Next: lower control.kp"
                " and control.ki, or let hocklift tune find gains."
            )
        room = room_words(self.rows)
        if margins.peak > PEAK_MOST:
            return (
                f"Nervous: {room} Peak sensitivity is {margins.peak:.2f}, {where}; over"
                f" {PEAK_MOST:g} a leg rings after every push. Next: lower control.kp and"
                " control.ki, or shorten the filters."
            )
        if margins.peak < PEAK_LEAST:
            return (
                f"Calm: {room} Feed-forward does nearly all of the work; what it gets wrong is made"
                " good slowly."
            )
        return f"Sound: {room}"


def told(rig: Rig, rig_name: str) -> Told:
    """Work out a rig's margins."""
    return Told(rig, rig_name, rig_margins(rig))


def place_words(row: PoseMargins) -> str:
    """Where and when."""
    return f"{row.phase} at {degrees(row.fold_rad):.0f} deg"


def room_words(rows: list[PoseMargins]) -> str:
    """How far gain and delay may grow, each in its own worst place."""
    known = [row.margins for row in rows if row.margins is not None]
    gain, delay_s = min(one.gain for one in known), min(one.delay_s for one in known)
    growth = (
        "all gains could grow without end"
        if isinf(gain)
        else f"all gains could grow {gain:.3g}-fold"
    )
    if isinf(delay_s):
        return f"{growth} before a leg swings by itself, and no delay would make it."
    return (
        f"{growth}, or everything answer {1000 * delay_s:.3g} ms later, before a leg swings by"
        " itself."
    )


@dataclass(frozen=True)
class Column:
    """One figure of a loop: a short heading with its unit, what it is, and its number."""

    heading: str
    what: str
    number: Callable[[Margins], str]


COLUMNS = (
    Column("gain", "all gains may grow so many times", lambda m: _number(m.gain, 1, 3)),
    Column("Hz", "and would then swing so fast", lambda m: _number(m.gain_radps, 1 / (2 * pi), 2)),
    Column("least", "all gains may shrink to this share", lambda m: f"{m.gain_less:.2g}"),
    Column("phase, deg", "what the phase may lose", lambda m: _number(m.phase_rad, degrees(1), 2)),
    Column("delay, ms", "what may be added in delay", lambda m: _number(m.delay_s, 1000, 3)),
    Column(
        "peak",
        "peak sensitivity: how many times stronger feedback makes the worst disturbance;"
        f" {PEAK_LEAST:g} to {PEAK_MOST:g} is usual",
        lambda m: f"{m.peak:.2f}",
    ),
)


def cells(row: PoseMargins) -> list[str]:
    """Fold, speed and figures; dashes where there is no loop, none of a leg that swings."""
    speed = "-" if row.loop is None else f"{degrees(row.loop.rate_radps):.0f}"
    place = [f"{degrees(row.fold_rad):.0f}", speed]
    if row.margins is None:
        return place + ["-"] * len(COLUMNS)
    if not row.margins.stable:
        return [*place, "swings", *["-"] * (len(COLUMNS) - 1)]
    return place + [column.number(row.margins) for column in COLUMNS]


HEADINGS = ("phase", "fold, deg", "deg/s", *(column.heading for column in COLUMNS))


def notes(found: Told) -> list[str]:
    """What the columns mean, why a row is empty, and what is left out."""
    meanings = "; ".join(f"{column.heading}: {column.what}" for column in COLUMNS)
    empty = dict.fromkeys(f"{place_words(row)}: {row.why}" for row in found.rows if row.why)
    return [f"{meanings}.", *(f"{why}." for why in empty), NOTE]


def _number(value: float, scale: float, digits: int) -> str:
    return "no end" if isinf(value) else f"{value * scale:.{digits}g}"
