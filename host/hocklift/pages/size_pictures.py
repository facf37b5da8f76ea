"""Pictures of a sized rig, for its page."""

from collections.abc import Callable
from itertools import pairwise
from math import cos, degrees, inf, pi, sin
from textwrap import wrap
from typing import Any, NamedTuple

import numpy as np
from legsim.linkage import gas_spring_force_N, height_m, leans_under_hip_rad, spring_force_N
from legsim.rig import Rig
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch
from numpy.typing import NDArray

from hocklift.pages.drawing import BLUE, DASHED, INK, RED, Plan, Pose, draw_leg, joints_m
from hocklift.sizing.checks.check import Row
from hocklift.sizing.loads import Loads
from hocklift.sizing.result import Sizing, margin_shown

_RPM = 2 * pi / 60
_POINTS = 61
# Names of folds nearer than this share of the whole travel stand in one line.
_NEAR_SHARE = 0.04

# Poses.


def _draw_poses(figure: Figure, sizing: Sizing) -> None:
    rig, m = sizing.rig, sizing.rig.mechanism
    ax = figure.subplots()
    extended_m = height_m(m, m.fold_extended_rad)
    apart_m = 0.42 + m.thigh_length_m * sin(leans_under_hip_rad(m, m.fold_soft_stop_rad)[0])
    for i, (what, fold_rad, stands, measure) in enumerate(_poses(sizing.loads)):
        hip_m = height_m(m, fold_rad) if stands else extended_m
        pose = Pose(hip_m, *leans_under_hip_rad(m, fold_rad), x_m=i * apart_m)
        _draw_stops(ax, rig, pose)
        draw_leg(ax, rig, pose, BLUE)
        middle_m = pose.x_m - m.thigh_length_m * sin(pose.thigh_rad) / 2
        words = f"{what}\nfold {degrees(fold_rad):.1f}°"
        ax.text(middle_m, extended_m + 0.06, words, ha="center")
        foot_m = float(joints_m(rig, pose)[2][1])
        low_m, high_m = {
            "hip": (0, hip_m),
            "sink": (hip_m, extended_m),
            "clearance": (0, foot_m),
            "travel": (0, foot_m),
        }[measure]
        at_m = pose.x_m + 0.15
        _dimension(ax, (at_m, low_m), (at_m, high_m), f"{measure}\n{1000 * (high_m - low_m):.0f}")
        if i == 0:
            _draw_lengths(ax, rig, pose)
    ax.axhline(0, color=INK, lw=1.2)
    ax.axhline(extended_m, color=INK, lw=0.6, ls="--")
    _tell_stops(ax, rig)
    ax.set_aspect("equal")
    ax.set_axis_off()


def _poses(loads: Loads) -> list[tuple[str, float, bool, str]]:
    """Return what each pose is, its fold, whether it stands on its foot, and what to measure.

    Where it does not stand, its hip is as high as with the leg extended.
    """
    m = loads.rig.mechanism
    return [
        ("extended", m.fold_extended_rad, True, "hip"),
        ("on one leg", loads.rest_fold_rad(loads.one_leg_kg), True, "sink"),
        ("foot raised", loads.lift_fold_rad, False, "clearance"),
        ("at the soft stop", m.fold_soft_stop_rad, False, "travel"),
    ]


def _draw_stops(ax: Axes, rig: Rig, pose: Pose) -> None:
    """A dial about the knee: the shank is its pointer, its marks are the stops of the fold."""
    m = rig.mechanism
    _, knee, _ = joints_m(rig, pose)

    def at(fold_rad: float, share: float) -> NDArray[Any]:
        lean_rad = fold_rad - pose.thigh_rad
        return knee + share * m.shank_length_m * np.array([sin(lean_rad), -cos(lean_rad)])

    folds = np.linspace(m.fold_extended_rad, m.fold_hard_stop_rad, _POINTS)
    ax.plot(*np.array([at(fold, 0.45) for fold in folds]).T, color=INK, lw=0.7)
    for fold_rad, lw in (
        (m.fold_extended_rad, 2.6),
        (m.fold_soft_stop_rad, 0.9),
        (m.fold_hard_stop_rad, 2.6),
    ):
        ax.plot(*np.array([at(fold_rad, 0.41), at(fold_rad, 0.49)]).T, color=INK, lw=lw)


def _tell_stops(ax: Axes, rig: Rig) -> None:
    m = rig.mechanism
    ax.text(
        ax.get_xlim()[0],
        -0.04,
        f"lengths in mm; end stops: hard at {degrees(m.fold_extended_rad):.0f}° and"
        f" {degrees(m.fold_hard_stop_rad):.0f}° of fold (thick marks),"
        f" soft at {degrees(m.fold_soft_stop_rad):.0f}° (thin mark)",
        va="top",
        fontsize=8,
    )


def _draw_lengths(ax: Axes, rig: Rig, pose: Pose) -> None:
    """Dimensions of thigh and shank, beside the links."""
    m = rig.mechanism
    hip, knee, foot = joints_m(rig, pose)
    aside = np.array([-0.11, 0])
    links = ((hip, knee, m.thigh_length_m, "thigh"), (knee, foot, m.shank_length_m, "shank"))
    for start, end, length_m, what in links:
        _dimension(
            ax, start + aside, end + aside, f"{what}\n{1000 * length_m:.0f}", (-0.04, "right")
        )


def _dimension(
    ax: Axes, start: Any, end: Any, words: str, beside: tuple[float, str] = (0.02, "left")
) -> None:
    """A line with arrows at its ends and words beside it, so far off and so aligned."""
    arrow = {"arrowstyle": "<->", "lw": 0.7, "shrinkA": 0, "shrinkB": 0, "color": INK}
    x_m, z_m = np.add(start, end) / 2
    aligned = "center"
    if np.hypot(*np.subtract(end, start)) < 0.15:  # no room for arrow heads, nor for words beside
        arrow["arrowstyle"] = "|-|,widthA=0.3,widthB=0.3"
        words = words.replace("\n", " ")
        # Away from the line of the ground or of the extended hip.
        z_m, aligned = (end[1], "bottom") if start[1] == 0 else (start[1], "top")
    ax.annotate("", start, end, arrowprops=arrow)
    ax.text(x_m + beside[0], z_m, words, ha=beside[1], va=aligned, fontsize=8)


# Forces over the fold.


class Curve(NamedTuple):
    """One line in a diagram over the fold."""

    name: str
    of_fold: Callable[[float], float]
    colour: str
    style: Any


def _draw_forces(figure: Figure, sizing: Sizing) -> None:
    loads, m = sizing.loads, sizing.rig.mechanism
    folds = np.linspace(m.fold_extended_rad, m.fold_hard_stop_rad, _POINTS)
    diagrams = _diagrams(loads)
    axes = figure.subplots(len(diagrams), 1, sharex=True)
    for ax, (label, curves) in zip(axes, diagrams, strict=True):
        for curve in curves:
            values = [curve.of_fold(fold) for fold in folds]
            ax.plot(np.degrees(folds), values, color=curve.colour, ls=curve.style, label=curve.name)
        ax.set_ylabel(label)
        ax.set_ylim(bottom=0)
        for _, fold_rad in _folds_of_interest(loads):
            ax.axvline(degrees(fold_rad), color=INK, lw=0.6, ls="--")
    rope = sizing.rig.rope
    most_N = rope.breaking_N * rope.knot_share / sizing.rig.wants.rope_factor
    axes[-1].axhline(most_N, color=INK, lw=1.6, label="most for the rope")
    axes[-1].set_xlabel("fold, deg")
    # The tackle's lines have the names of the lead line's.
    handles = [handle for ax in (axes[0], axes[-1]) for handle in ax.get_legend_handles_labels()[0]]
    figure.legend(handles=handles, loc="outside lower center", ncols=3)
    _name_folds(axes[0], _folds_of_interest(loads))


def _diagrams(loads: Loads) -> list[tuple[str, list[Curve]]]:
    rig = loads.rig
    springs = [Curve("coil spring", lambda fold: spring_force_N(rig, fold), BLUE, "-")]
    if rig.gas_spring.force_extended_N > 0:
        springs.append(Curve("gas spring", lambda fold: gas_spring_force_N(rig, fold), RED, DASHED))
    tackle = [
        Curve("hauling, foot up", loads.tackle_N, BLUE, "-"),
        Curve("letting out, foot up", lambda fold: loads.tackle_N(fold, -1), RED, DASHED),
        Curve("stooping", loads.stoop_tackle_N, INK, ":"),
    ]

    def of_line(curve: Curve, way: int) -> Curve:
        return curve._replace(of_fold=lambda fold: loads.line_N(curve.of_fold(fold), way))

    lead_line = [of_line(curve, way) for curve, way in zip(tackle, (1, -1, 1), strict=True)]
    return [
        ("spring, N", springs),
        ("pull of the tackle, N", tackle),
        ("lead line, N", lead_line),
    ]


def _folds_of_interest(loads: Loads) -> list[tuple[str, float]]:
    m = loads.rig.mechanism
    return [
        ("extended stop", m.fold_extended_rad),
        ("on one leg", loads.rest_fold_rad(loads.one_leg_kg)),
        ("foot raised", loads.lift_fold_rad),
        ("stooped", loads.rig.wants.stoop_fold_rad),
        ("soft stop", m.fold_soft_stop_rad),
        ("hard stop", m.fold_hard_stop_rad),
    ]


def _name_folds(ax: Axes, folds: list[tuple[str, float]]) -> None:
    """Names above a diagram, slanted, so that near ones do not cover each other."""
    top = ax.secondary_xaxis("top")
    named: dict[float, str] = {}
    for name, fold_rad in sorted(folds, key=lambda fold: fold[1]):
        at_deg = degrees(fold_rad)
        near = max(named, default=-inf)
        if at_deg - near < _NEAR_SHARE * degrees(folds[-1][1] - folds[0][1]):
            named[near] += f", {name}"
        else:
            named[at_deg] = name
    top.set_xticks(
        list(named), list(named.values()), rotation=35, ha="left", rotation_mode="anchor"
    )
    top.spines["top"].set_visible(False)


# Motor.


class Point(NamedTuple):
    """Where the motor works at one moment: what that is, torque, speed, and how it is marked."""

    what: str
    torque_Nm: float
    speed_radps: float
    mark: str


def motor_points(sizing: Sizing) -> list[Point]:
    """Return the moments to show: the lift at most drive, the lift as wanted, the stoop."""
    rig, loads = sizing.rig, sizing.loads
    start_rad, most = rig.mechanism.fold_extended_rad, rig.control.drive_max
    folds = np.linspace(start_rad, loads.lift_fold_rad, 5)
    lift = [loads.lift_point(fold, most) for fold in folds]
    points = [Point("lifting at most drive", at.torque_Nm, at.speed_radps, "o") for at in lift]
    speeding_up_Nm = lift[0].torque_Nm + loads.speeding_up_A * loads.torque_Nm_per_A
    points += [
        Point("speeding up for a lift as wanted", speeding_up_Nm, loads.lift_peak_radps, "^"),
        Point("fastest moment of that lift", lift[-1].torque_Nm, loads.lift_peak_radps, "s"),
    ]
    points += [
        Point(
            "into the stoop as wanted",
            loads.motor_load_Nm(loads.stooping_line_N),
            row.demand,
            "D",
        )
        for row in sizing.rows
        if (row.check.part, row.check.situation) == ("motor", "stooping")
    ]
    return points


def draw_motor(figure: Figure, sizing: Sizing, points: list[Point]) -> None:
    """Speed over torque, the controller's limits, and the points where the motor works."""
    rig, loads = sizing.rig, sizing.loads
    controller, most = rig.controller, rig.control.drive_max
    ax = figure.subplots()
    # Part of the current goes into the iron and makes no torque.
    lost_A = loads.motor_point(0.0, most).current_A
    limit_Nm, start_Nm = (
        (limit_A - lost_A) * loads.torque_Nm_per_A
        for limit_A in (controller.current_limit_A, controller.start_current_A)
    )
    torques_Nm = np.linspace(0, 1.12 * limit_Nm, _POINTS)
    for duty, name, style in ((1.0, "full drive", DASHED), (most, f"most drive, {most:.0%}", "-")):
        speeds = [loads.motor_point(torque, duty).speed_radps / _RPM for torque in torques_Nm]
        ax.plot(torques_Nm, speeds, color=BLUE, ls=style, label=name)
    ax.axvline(
        limit_Nm,
        color=INK,
        lw=1.6,
        label=f"the controller's limit, {controller.current_limit_A:.0f} A",
    )
    if controller.start_speed_radps > 0:
        corner_rpm = controller.start_speed_radps / _RPM
        ax.plot(
            [start_Nm, start_Nm, limit_Nm],
            [0, corner_rpm, corner_rpm],
            color=INK,
            ls=":",
            label=f"its limit while it guesses, {controller.start_current_A:.0f} A",
        )
    told = set()
    for what, torque_Nm, speed_radps, mark in points:
        label = what if what not in told else None
        told.add(what)
        ax.plot(torque_Nm, max(0, speed_radps) / _RPM, mark, color=RED, ms=5, label=label)
    ax.set_xlim(left=0)
    ax.set_ylim(bottom=0)
    ax.set_xlabel("torque at the shaft, N·m")
    ax.set_ylabel("speed, rpm")
    figure.legend(loc="outside lower center", ncols=2)


# Load path.


class Box(NamedTuple):
    """One box of the load path: its name, and how the parts end whose checks it stands for."""

    name: str
    parts: tuple[str, ...]

    def worst(self, sizing: Sizing) -> Row | None:
        """Return its check with the least margin; None where nothing is known."""
        known = [
            row
            for row in sizing.rows
            if row.check.part.endswith(self.parts) and row.verdict != "unknown"
        ]
        return min(known, key=lambda row: row.margin, default=None)


# From the battery to the ground, and to the frame on top of the leg.
BOXES = (
    Box("battery", ("battery",)),
    Box("speed controller", ("speed controller",)),
    Box("motor", ("motor",)),
    Box("gears", ("gear mesh",)),
    Box("drum", ("drum",)),
    Box("rope", ("rope",)),
    Box("tackle and its pins", ("sheaves", "rope pin")),
    Box("knee pin and links", ("knee pin",)),
    Box("spring and its pins", ("coil spring", "spring pin")),
    Box("foot, standing", ("springs",)),
    Box("hip joints", ("joint",)),
)
_COLUMNS = 4
_BOX_WIDTH, _BOX_HEIGHT = 1.45, 0.98
_EDGES: dict[str, dict[str, Any]] = {
    "holds": {"lw": 0.9, "ls": "-"},
    "tight": {"lw": 1.6, "ls": "--"},
    "fails": {"lw": 3.2, "ls": "-"},
    "unknown": {"lw": 0.9, "ls": ":"},
}


def draw_load_path(figure: Figure, sizing: Sizing, boxes: tuple[Box, ...] = BOXES) -> None:
    """The boxes in a row that turns back at its end, each with its least margin."""
    ax = figure.subplots()
    places = [_place(i) for i in range(len(boxes))]
    for box, place in zip(boxes, places, strict=True):
        _draw_box(ax, box, box.worst(sizing), place)
    for (x, y), (next_x, next_y) in pairwise(places):
        half_x = _BOX_WIDTH / 2 * np.sign(next_x - x)
        half_y = _BOX_HEIGHT / 2 * np.sign(next_y - y)
        arrow = {"arrowstyle": "-|>", "lw": 1.2, "color": INK, "shrinkA": 3, "shrinkB": 3}
        ax.annotate(
            "", (next_x - half_x, next_y - half_y), (x + half_x, y + half_y), arrowprops=arrow
        )
    ax.set_xlim(-0.8, (_COLUMNS - 1) * 1.78 + 0.8)
    ax.set_ylim(places[-1][1] - 0.55, 0.55)
    ax.set_aspect("equal")
    ax.set_axis_off()


def _place(i: int) -> tuple[float, float]:
    """Middle of a box, in rows that run there and back, in inches."""
    row, column = divmod(i, _COLUMNS)
    return (_COLUMNS - 1 - column if row % 2 else column) * 1.78, -row * 1.32


def _draw_box(ax: Axes, box: Box, row: Row | None, place: tuple[float, float]) -> None:
    verdict = row.verdict if row else "unknown"
    corner = (place[0] - _BOX_WIDTH / 2, place[1] - _BOX_HEIGHT / 2)
    ax.add_patch(
        FancyBboxPatch(
            corner,
            _BOX_WIDTH,
            _BOX_HEIGHT,
            boxstyle="round,pad=0,rounding_size=0.06",
            facecolor="none",
            edgecolor=INK,
            **_EDGES[verdict],
        )
    )
    x, y = place
    ax.text(x, y + 0.36, box.name, ha="center", va="center", weight="bold")
    told = f"{margin_shown(row)}, {verdict}" if row else verdict
    ax.text(x, y + 0.16, told, ha="center", va="center", fontsize=10)
    if row:
        what = "\n".join(wrap(row.check.what, 26, max_lines=3, placeholder=" …"))
        ax.text(x, y, what, ha="center", va="top", fontsize=7)


PLANS: tuple[Plan[Sizing], ...] = (
    Plan(
        "Load path",
        "What carries the load, from the battery to the foot and the hip. Each box names the part,"
        " its least margin, and the check that has it; a dashed edge is tight, a thick one fails, a"
        " dotted one is unknown.",
        draw_load_path,
        3.75,
    ),
    Plan(
        "Leg to scale",
        "The leg from the side in four poses, all beside the height of the hip with the leg"
        " extended (dashed) and the ground. The zigzag is the spring, the thin line the rope. About"
        " the knee is a dial whose pointer is the shank; its marks are the end stops of the fold.",
        _draw_poses,
        3.0,
    ),
    Plan(
        "Forces over the fold",
        "Spring force, pull of the tackle and tension of its lead line over the fold. A raised foot"
        " goes as far as the mark that says so, and both legs together down to the stoop; beyond,"
        " only a fault goes.",
        _draw_forces,
        6.0,
    ),
    Plan(
        "Motor",
        "Speed of the motor over its torque, at full drive and at the most drive given, and where"
        " it works. Points below the solid line and left of the limits can be reached.",
        lambda figure, sizing: draw_motor(figure, sizing, motor_points(sizing)),
        4.4,
    ),
)
