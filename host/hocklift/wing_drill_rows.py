"""What is told of a drill of wings, row by row: on the terminal and on the page."""

from collections.abc import Callable
from dataclasses import asdict
from itertools import groupby
from math import inf
from typing import Any, NamedTuple

from legsim.tables import fault_names
from legsim.troubles import Trouble
from legsim.wing.drill import WING_LIMITS
from legsim.wing.tables import WING_FAULTS

from hocklift.drilling import words_or_dash
from hocklift.wing_drilling import WingCampaign, WingRan

# (heading, one trouble's figure of its cases)
WING_COLUMNS: tuple[tuple[str, Callable[[list[WingRan]], str]], ...] = (
    ("slowest\nto be\nsafe", lambda rans: _worst(rans, "safe_s", "s", 2)),
    ("fastest\ntip", lambda rans: _worst(rans, "tip_mps", "m/s", 1)),
    ("past a\nhard stop", lambda rans: _worst(rans, "past_stop_deg", "°", 1)),
    ("most in\nrope", lambda rans: _worst(rans, "tension_peak_N", "N", 0)),
    ("ended", lambda rans: "unsafe" if any(ran.failures for ran in rans) else "safe"),
)
WING_SAFE_MEANS = (
    "Safe is: power off, or the fault seen and both wings hanging or being brought to hang."
)


class WingBound(NamedTuple):
    """What no controller can keep from happening: whose, what, its bound, and why."""

    who: str
    text: str
    words: str
    reason: str


def by_trouble(campaign: WingCampaign) -> list[tuple[Trouble, list[WingRan]]]:
    """The cases of the table by their trouble, in the order of the troubles."""
    groups = groupby(campaign.table, lambda ran: ran.case.strikes[0].trouble)
    return [(trouble, list(rans)) for trouble, rans in groups]


def wing_bounds(campaign: WingCampaign) -> list[WingBound]:
    """What the troubles of the campaign make unavoidable."""
    return [
        WingBound(
            trouble.name,
            WING_LIMITS[measure].text,
            f"at most {bound:g} {WING_LIMITS[measure].unit}",
            reason,
        )
        for trouble, _ in by_trouble(campaign)
        for measure, bound, reason in trouble.spared
    ]


def _worst(rans: list[WingRan], measure: str, unit: str, digits: int) -> str:
    """The largest figure that came; a dash where none did, as with a time that never came."""
    found = [getattr(ran.outcome, measure) for ran in rans if ran.outcome.struck]
    most = max((one for one in found if one < inf), default=None)
    return words_or_dash(most, unit, digits)


def figures_of(ran: WingRan) -> dict[str, Any]:
    """Every figure of a case by its name, as JSON and the page's file have it."""
    outcome = asdict(ran.outcome)
    del outcome["fault_bits"], outcome["rows_seen_s"]
    rows = {
        name: s
        for bit, s in ran.outcome.rows_seen_s.items()
        for name in fault_names(bit, WING_FAULTS)
    }
    return {
        "case": ran.words,
        "seed": ran.case.seed,
        "safe": not ran.failures,
        "failures": list(ran.failures),
        "rows_seen_s": rows,
        **outcome,
    }
