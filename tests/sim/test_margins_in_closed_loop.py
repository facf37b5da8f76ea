"""What linear theory says of a leg's loop, against core and simulator in closed loop."""

from dataclasses import replace
from math import degrees, pi, radians

import numpy as np
import pytest
from closed import ClosedLeg, smooth
from hocklift.loops.linear import between_periods
from hocklift.loops.loop import core_steps, loop_at
from hocklift.loops.margins import margins_of
from hocklift.loops.plant import NoBalanceError, plant_at
from legcore.estimate import estimate
from legcore.law import control
from legcore.model import make
from legcore.phases import HELD
from legsim.rig import Rig
from legsim.settings import core_rig

SMOOTH = smooth(Rig())
TICKS = 750


def swing_rad(fold_rad: float, factor: float) -> float:
    """How far the leg swings at last, its gains times `factor`, put off by a tenth of a degree."""
    plant = loop_at(SMOOTH, fold_rad, "held").plant
    folds = np.array(list(ClosedLeg(SMOOTH, plant, factor, radians(0.1)).folds_rad(TICKS)))
    # What grows, grows until the motor is at its limit; what slides away is no swing.
    return float(max(np.ptp(part) for part in np.split(folds, 10))) / 2


def verge(fold_rad: float, guess: float) -> float:
    """The factor on all gains from which on the leg swings ever more, within 2 %."""
    low, high = 0.6 * guess, 1.5 * guess
    assert swing_rad(fold_rad, low) < radians(0.2) < swing_rad(fold_rad, high)
    while high / low > 1.02:
        middle = (low * high) ** 0.5
        if swing_rad(fold_rad, middle) > radians(0.2):
            high = middle
        else:
            low = middle
    return (low * high) ** 0.5


@pytest.mark.parametrize("fold_deg", [62, 70, 80, 90])
def test_gain_margin_is_where_the_real_core_and_leg_begin_to_swing(fold_deg, record_property):
    # Nothing rubs and nothing is cut off, so that linear theory must hold.
    fold_rad = radians(fold_deg)
    margin = margins_of(loop_at(SMOOTH, fold_rad, "held")).gain
    measured = verge(fold_rad, margin)
    record_property(
        f"gain margin at {fold_deg} deg, linear and measured", f"{margin:.1f} and {measured:.1f}"
    )
    assert measured == pytest.approx(margin, rel=0.15)


def test_play_and_a_motor_that_starts_late_bring_the_swing_nearer_than_linear_theory_has_it(
    record_property,
):
    # What the demo rig really has; by how much is a measurement, not theory.
    loop = loop_at(Rig(), radians(70), "held")
    margin = margins_of(loop).gain
    swings = {}
    for share in (0.25, 0.5, 0.75, 1.0):
        closed = ClosedLeg(Rig(), loop.plant, share * margin, radians(0.5))
        folds = np.array(list(closed.folds_rad(TICKS)))[TICKS // 2 :]
        swings[share] = degrees(np.ptp(folds) / 2)
    record_property(
        "swing of a held leg as built, by share of the linear gain margin",
        ", ".join(f"{share:g}: {swing:.1f} deg" for share, swing in swings.items()),
    )
    assert swings[0.25] < 1 < swings[1.0]


def test_the_integer_core_answers_a_swing_as_its_linear_form_does():
    rig = replace(Rig(), control=replace(Rig().control, kd_s_per_rad=0.1, ki_per_rad_s=6.0))
    settings = core_rig(rig).settings
    visit_s = 2 * rig.control.period_s
    steps = core_steps(settings)
    for radps in (4.0, 15.0, 40.0):
        leg = make("Leg")
        leg.phase, leg.law_on = HELD, 1
        centre_cdeg, swing_cdeg = 7500, 150
        leg.setpoint_cdeg_q6 = 64 * centre_cdeg
        settings.hold_permille[:] = settings.hold_permille.__class__("i", [0] * 9)
        turns = max(3, round(3 * radps / (2 * pi)))
        count = round(2 * turns * pi / radps * 2 / visit_s)
        time_s = np.arange(count) * visit_s
        fold_cdeg = centre_cdeg + swing_cdeg * np.sin(radps * time_s)
        drive = []
        for fold in fold_cdeg:
            for joint, cal in ((leg.thigh, settings.left_thigh), (leg.shank, settings.left_shank)):
                joint.count = round(np.interp(fold / 2, cal.angle_cdeg, cal.count))
            estimate(leg, settings.left_thigh, settings.left_shank, settings)
            control(leg, settings)
            leg.drive_permille = leg.wanted_permille
            drive.append(leg.wanted_permille / 1000)
        half = slice(count // 2, None)
        basis = np.column_stack(
            [np.sin(radps * time_s), np.cos(radps * time_s), np.ones(count), time_s]
        )[half]
        found = np.linalg.lstsq(basis, np.array(drive)[half], rcond=None)[0]
        response = -complex(found[0], found[1]) / radians(swing_cdeg / 100)
        wanted = complex(steps.at(np.array([radps * visit_s]))[0])
        # Counts are 7 hundredths of a degree; the swing is 1.5 deg.
        assert abs(response - wanted) < 0.03 * abs(wanted), radps


@pytest.mark.parametrize(("fold_deg", "rate_degps"), [(62, 0), (85, 0), (70, 38), (80, -30)])
def test_a_small_step_of_duty_moves_the_simulated_leg_as_the_linear_plant_says(
    fold_deg, rate_degps
):
    # Differentiated here, stepped in the simulator: the same equations by two routes.
    rig = SMOOTH if rate_degps == 0 else Rig()
    plant = plant_at(rig, radians(fold_deg), radians(rate_degps))
    period_s, step, ticks = rig.control.period_s, 0.02, 12
    folds = []
    for more in (step, -step):
        closed = ClosedLeg(rig, plant, 0.0, 0.0)
        # No frame begins while we look, so the duty stays what it is set to.
        closed.leg["frame_s"] = -1.0
        closed.leg["duty"] = closed.leg["demand"] = plant.duty + more
        folds.append(np.array(list(closed.folds_rad(ticks))))
    simulated = (folds[0] - folds[1]) / 2
    steps = between_periods(plant.A, plant.B, plant.C, period_s)
    state, linear = np.zeros((len(plant.A), 1)), []
    for _ in range(ticks):
        state = steps.A @ state + steps.B * step
        linear.append(float((steps.C @ state)[0, 0]))
    assert simulated == pytest.approx(np.array(linear), abs=0.03 * abs(np.array(linear)).max())


def test_balance_is_a_balance():
    plant = plant_at(Rig(), radians(75), radians(38))
    assert 0 < plant.duty < 1
    assert degrees(plant.state[0] + plant.state[1]) == pytest.approx(75)
    assert degrees(plant.state[2] + plant.state[3]) == pytest.approx(38)


def test_a_leg_that_its_motor_cannot_move_so_fast_has_no_balance():
    with pytest.raises(NoBalanceError, match="92 deg"):
        plant_at(Rig(), radians(92), radians(60))
