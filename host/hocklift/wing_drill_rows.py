"""What is told of a drill of wings, row by row: on the terminal and on the page."""

from collections.abc import Callable
from dataclasses import asdict
from itertools import groupby
from math import inf
from typing import Any, NamedTuple

from legsim.tables import Fault, fault_names
from legsim.troubles import Trouble
from legsim.wing.drill import WING_LIMITS
from legsim.wing.tables import WING_FAULTS
from legsim.wing.troubles import WING_DOUBLES

from hocklift.drilling import TIMES_MEAN, of_most, words_or_dash
from hocklift.wing_drilling import WingCampaign, WingRan, due_rows


def _due(rans: list[WingRan]) -> list[WingRan]:
    """Those in which the trouble struck where it must be seen."""
    return [ran for ran in rans if ran.outcome.struck and due_rows(ran.case.strikes[0])]


def _seen(rans: list[WingRan]) -> str:
    due = _due(rans)
    return f"{sum(not ran.unseen for ran in due)} of {len(due)}" if due else "-"


# (heading, one trouble's figure of its cases)
WING_COLUMNS: tuple[tuple[str, Callable[[list[WingRan]], str]], ...] = (
    ("seen,\nof those\nit must", _seen),
    ("slowest\nto see", lambda rans: _worst(_due(rans), "seen_s", "s", 2)),
    ("slowest\nto be\nsafe", lambda rans: _worst(rans, "safe_s", "s", 2)),
    ("fastest\ntip", lambda rans: _worst(rans, "tip_mps", "m/s", 1)),
    ("past a\nhard\nstop", lambda rans: _worst(rans, "past_stop_deg", "°", 1)),
    ("most in\nrope", lambda rans: _worst(rans, "tension_peak_N", "N", 0)),
    ("ended", lambda rans: "unsafe" if any(ran.failures for ran in rans) else "safe"),
)
WING_SAFE_MEANS = (
    "Safe is: power off, or the fault seen and both wings hanging or being brought to hang."
    + TIMES_MEAN
)


class WingBound(NamedTuple):
    """What no controller can keep from happening: whose, what, how much of its bound, and why."""

    who: str
    text: str
    words: str
    reason: str


def by_trouble(campaign: WingCampaign) -> list[tuple[Trouble, list[WingRan]]]:
    """The cases of the table by their trouble, in the order of the troubles."""
    groups = groupby(campaign.table, lambda ran: ran.case.strikes[0].trouble)
    return [(trouble, list(rans)) for trouble, rans in groups]


def wing_bounds(campaign: WingCampaign) -> list[WingBound]:
    """What troubles make unavoidable, alone and two on one wing, and the worst that was found."""
    spared: list[tuple[tuple[str, ...], str, float, str]] = [
        ((trouble.name,), *row) for trouble, _ in by_trouble(campaign) for row in trouble.spared
    ]
    spared += [(one.names, one.measure, one.most, one.reason) for one in WING_DOUBLES]
    return [
        WingBound(
            " with ".join(names),
            WING_LIMITS[measure].text,
            of_most(_found(campaign, set(names), measure), most, WING_LIMITS[measure].unit),
            reason,
        )
        for names, measure, most, reason in spared
    ]


def _found(campaign: WingCampaign, names: set[str], measure: str) -> float | None:
    """The worst of a measure where just these troubles struck, and one wing only."""
    return max(
        (
            float(getattr(ran.outcome, measure))
            for ran in (*campaign.table, *campaign.random)
            if ran.outcome.struck
            and {strike.trouble.name for strike in ran.case.strikes} == names
            and len({strike.wing for strike in ran.case.strikes}) == 1
        ),
        default=None,
    )


def wing_sights(campaign: WingCampaign) -> list[tuple[Fault, int, list[float]]]:
    """Of each fault row: in how many cases it saw something, and when it saw what it had to."""
    rans = (*campaign.table, *campaign.random)
    return [
        (
            fault,
            sum(bool(ran.outcome.fault_bits & fault.bit) for ran in rans),
            [
                ran.outcome.rows_seen_s[fault.bit]
                for ran in campaign.table
                if due_rows(ran.case.strikes[0]) & fault.bit
                and ran.outcome.rows_seen_s.get(fault.bit, inf) == ran.outcome.seen_s < inf
            ],
        )
        for fault in WING_FAULTS
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
