"""Wrong rigs are explained: which part, how far off, and the nearest change, which mends it."""

from math import floor, log10, nan, radians
from typing import Any

import pytest
from hocklift.rigfile.keys import key_at, with_value_at
from hocklift.rigfile.units import unit_of
from hocklift.sizing.checks import rows_of
from hocklift.sizing.loads import Loads
from hocklift.sizing.result import Sizing, size
from legsim.rig import Rig


def rig_with(**values: Any) -> Rig:
    """The demo rig with SI values at keys, `spring__rate=...` for spring.rate."""
    rig = Rig()
    for path, value in values.items():
        rig = with_value_at(rig, path.replace("__", "."), value)
    return rig


# What is wrong, and the part that must be named.
WRONG = [
    pytest.param(rig_with(spring__rate=40e3, spring__wire=nan), "springs", id="spring too weak"),
    pytest.param(rig_with(rope__breaking=900.0), "rope", id="rope too thin"),
    pytest.param(rig_with(drive__drum_width=0.020), "drum", id="drum too full"),
    pytest.param(rig_with(drive__speed_constant=30.0), "motor", id="motor too slow"),
    pytest.param(rig_with(spring__free_length=0.160), "coil spring", id="folded stop unreachable"),
    pytest.param(rig_with(spring__force_extended=600.0), "springs", id="frame off its stop"),
    pytest.param(rig_with(pins__knee_pin=0.006), "knee pin", id="pin too thin"),
    pytest.param(
        rig_with(controller__current_limit=12.0), "speed controller", id="controller too small"
    ),
    pytest.param(rig_with(controller__at_neutral="coast"), "speed controller", id="foot not held"),
    pytest.param(rig_with(hip__lean_spring_rate=12e3), "side-lean joint", id="hip too soft"),
]


@pytest.mark.parametrize(("rig", "part"), WRONG)
def test_a_wrong_rig_is_told_part_distance_and_a_change_that_mends_it(rig: Rig, part: str) -> None:
    sizing = size(rig, "wrong")
    assert part in {row.check.part for row in sizing.failing}
    limit = next(limit for limit in sizing.limits if limit.row.check.part == part)
    assert "% too much" in limit.words() or "beyond all measure" in limit.words()
    assert limit.remedy is not None
    assert limit.remedy.path in limit.words()
    mended = with_value_at(rig, limit.remedy.path, limit.remedy.new)
    assert not [row for row in rows_of(mended) if row.verdict == "fails"]


@pytest.mark.parametrize(("rig", "part"), WRONG)
def test_no_nearer_value_of_the_same_key_would_do(rig: Rig, part: str) -> None:
    sizing = size(rig, "wrong")
    limit = next(limit for limit in sizing.limits if limit.row.check.part == part)
    remedy = limit.remedy
    assert remedy is not None
    if isinstance(remedy.old, str) or isinstance(remedy.new, str):
        return  # a word has no neighbour
    # One step less in the last of two digits, or one whole number less.
    unit = float(unit_of(key_at(remedy.path).unit).factor)
    digit = 1 if key_at(remedy.path).whole else 10 ** (floor(log10(remedy.new / unit)) - 1) * unit
    nearer = remedy.new - (digit if remedy.new > remedy.old else -digit)
    rows = rows_of(with_value_at(rig, remedy.path, nearer))
    assert any(row.verdict == "fails" for row in rows)


def test_the_demo_rig_bears_everything() -> None:
    sizing: Sizing = size(Rig(), "demo")
    assert sizing.failing == []
    # What limits it is told with a change that gives a quarter in hand.
    assert len(sizing.limits) == 3
    margins = [limit.row.margin for limit in sizing.limits]
    assert margins == sorted(margins)
    assert min(row.margin for row in sizing.rows if row.margin == row.margin) == margins[0]


def test_a_joint_for_20_kg_with_a_hobby_motor_has_about_threefold_reserve() -> None:
    # Common practice, no source: a tackle on a hobby motor of this class (some 600 rpm/V on six
    # cells), geared to swing 20 kg at 0.35 m through 60 degrees in 0.7 s, has about three times
    # the current in hand. It has no spring; its load is the weight, at its longest arm.
    loads = Loads(Rig())
    drive = loads.rig.drive
    arm_m = loads.rope_lever_m(loads.lift_fold_rad)
    line_N = loads.line_N(20 * 9.80665 * 0.35 / arm_m)
    peak_radps = 1.5 * radians(60) / 0.7  # a trapezoid of thirds
    drum_radps = peak_radps * loads.rig.rope.parts * arm_m / drive.drum_radius_m
    free_radps = loads.motor_point(0.0, loads.rig.control.drive_max).speed_radps
    # A tenth of the speed is left for the load's own slowing.
    geared = with_value_at(loads.rig, "drive.gear_ratio", 0.9 * free_radps / drum_radps)
    point = Loads(geared).motor_point(Loads(geared).motor_load_Nm(line_N), geared.control.drive_max)
    assert point.speed_radps > drum_radps * geared.drive.gear_ratio
    assert 2 < geared.controller.current_limit_A / point.current_A < 5
