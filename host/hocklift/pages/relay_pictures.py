"""Pictures of a relay experiment."""

import numpy as np
from matplotlib.figure import Figure

from hocklift.loops.swung import Relay
from hocklift.pages.drawing import BLUE, INK, TIME, Plan


def _draw_swing(figure: Figure, relay: Relay) -> None:
    axes = figure.subplots(2, 2, sharex="col", sharey="row", squeeze=False)
    for i, one in enumerate(relay.swung[:2]):
        fold, drive = axes[0][i], axes[1][i]
        fold.plot(one.time_s, np.degrees(one.fold_rad), color=BLUE, lw=1.2)
        drive.plot(one.time_s, [100 * value for value in one.drive], color=INK, lw=0.8)
        fold.set_title(f"{one.leg} leg", loc="left", fontsize=9)
        drive.set_xlabel(TIME)
    axes[0][0].set_ylabel("fold, deg")
    axes[1][0].set_ylabel("drive, %")


PLANS: tuple[Plan[Relay], ...] = (
    Plan(
        "How the legs swung",
        "Fold and drive of each leg from the moment it was up: the drive turns round whenever the"
        " fold has passed its setpoint, and the leg swings as it would at its ultimate gain.",
        _draw_swing,
        4.5,
    ),
)
