"""What the page is told of every tick, and which traces it draws of that, as tables."""

from typing import NamedTuple

LEGS = ("left", "right")
# Of each leg, then of the board; each a 32-bit float, nothing known is NaN.
LEG_COLUMNS = (
    "thigh_deg",
    "shank_deg",
    "fold_deg",
    "setpoint_deg",
    "rate_degps",
    "drive_percent",
    "current_A",
    "winding_K",
)
BOARD_COLUMNS = ("battery_V", "supply_V", "loop_ms")
# The first is seconds since the first of the rows that come at once.
COLUMNS = (
    "since_s",
    *(f"{leg}_{name}" for leg in LEGS for name in LEG_COLUMNS),
    *BOARD_COLUMNS,
)


class Trace(NamedTuple):
    """One chart: columns of each leg (or of the board), the first solid, a second one dotted."""

    title: str
    unit: str
    of_leg: tuple[str, ...]
    of_board: tuple[str, ...] = ()
    # The least that the scale spans, so that noise alone does not fill it.
    span: float = 1.0
    noisy: bool = False


TRACES = (
    Trace("fold, and its setpoint dotted", "°", ("fold_deg", "setpoint_deg"), span=10),
    Trace("rate of fold", "°/s", ("rate_degps",), span=20, noisy=True),
    Trace("drive, folding upwards", "%", ("drive_percent",), span=20),
    Trace("motor current, estimated", "A", ("current_A",), span=5, noisy=True),
    Trace("winding over the air, by model", "K", ("winding_K",), span=5),
    Trace("battery", "V", (), ("battery_V",), span=1, noisy=True),
    Trace("time that the loop took", "ms", (), ("loop_ms",), span=1, noisy=True),
)
