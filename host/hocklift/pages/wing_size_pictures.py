"""Pictures of a sized rig with wings, for its page."""

from typing import Any

import numpy as np
from legsim.wing.statics import weight_Nm
from matplotlib.figure import Figure

from hocklift.pages.drawing import BLUE, DASHED, INK, RED, Plan
from hocklift.pages.size_pictures import Box, Point, draw_load_path, draw_motor
from hocklift.sizing.result import Sizing

# From the battery to the load at the tip.
WING_BOXES = (
    Box("battery", ("battery",)),
    Box("speed controller", ("speed controller",)),
    Box("motor", ("motor",)),
    Box("gears", ("gear mesh",)),
    Box("drum", ("drum",)),
    Box("ropes", ("rope", "ropes")),
    Box("tackles", ("sheaves",)),
    Box("hinge pin", ("hinge pin",)),
)


def _draw_forces(figure: Figure, sizing: Sizing) -> None:
    loads, rig = sizing.loads, sizing.rig
    lifts = loads.lifts_rad
    weight, lines = figure.subplots(2, 1, sharex=True)
    for load_kg, style in ((rig.wants.load_kg, "-"), (0.0, DASHED)):
        torques = [weight_Nm(rig, lift, load_kg) for lift in lifts]
        weight.plot(np.degrees(lifts), torques, color=INK, ls=style, label=f"{load_kg:g} kg at tip")
    weight.set_ylabel("weight, N·m")
    weight.legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
    curves: tuple[tuple[str, int, int, Any, Any], ...] = (
        ("upper, raising", 0, 1, BLUE, "-"),
        ("upper, lowering", 0, -1, BLUE, DASHED),
        ("lower, raising", 1, 1, RED, "-"),
        ("lower, lowering", 1, -1, RED, DASHED),
    )
    for name, line, moving, colour, style in curves:
        tensions = [loads.lines_N(lift, moving)[line] for lift in lifts]
        lines.plot(np.degrees(lifts), tensions, color=colour, ls=style, label=name)
    lines.set_ylabel("lead lines, N")
    lines.set_xlabel("angle from hanging, deg")
    figure.legend(handles=lines.get_legend_handles_labels()[0], loc="outside lower center", ncols=4)


def _motor_points(sizing: Sizing) -> list[Point]:
    """The raise at most drive over its angles, and the fastest moment of the raise as wanted."""
    loads, most = sizing.loads, sizing.rig.control.drive_max
    points = [
        Point("raising at most drive", at.torque_Nm, at.speed_radps, "o")
        for at in (loads.raise_point(lift, most) for lift in loads.lifts_rad[::10])
        if at.torque_Nm > 0
    ]
    heaviest_Nm = max(loads.shaft_Nm(lift, 1) for lift in loads.lifts_rad)
    return [
        *points,
        Point("fastest moment of a raise as wanted", heaviest_Nm, loads.lift_peak_radps, "s"),
    ]


WING_PLANS: tuple[Plan[Sizing], ...] = (
    Plan(
        "Load path",
        "What carries the load, from the battery to the hinge. Each box names the part, its least"
        " margin, and the check that has it; a dashed edge is tight, a thick one fails, a dotted"
        " one is unknown.",
        lambda figure, sizing: draw_load_path(figure, sizing, WING_BOXES),
        2.6,
    ),
    Plan(
        "Forces over the angle",
        "Torque of the weight about the hinge, and tension of both lead lines with the load at the"
        " tip. Below hanging, which is 0, the lower rope pulls the wing in.",
        _draw_forces,
        5.0,
    ),
    Plan(
        "Motor",
        "Speed of the motor over its torque, at full drive and at the most drive given, and where"
        " it works. Points below the solid line and left of the limits can be reached.",
        lambda figure, sizing: draw_motor(figure, sizing, _motor_points(sizing)),
        4.4,
    ),
)
