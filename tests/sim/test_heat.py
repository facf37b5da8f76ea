"""Heat of the motor: where it comes from, where it goes, and what it does to the copper."""

import numpy as np
import pytest
from hocklift.sizing.checks import rows_of
from legsim.heat import warm
from legsim.wearer import metronome_raises
from rigs import DEMO, Leg, changed, walk

# Short beside the winding's 15 s; the plant's own ticks are far shorter still.
STEP_S = 0.1


def heated(leg: Leg, copper_W: float, iron_W: float, seconds: float) -> None:
    for _ in range(round(seconds / STEP_S)):
        # Copper heat grows as its resistance does; iron loss does not care.
        growth = leg["resistance_ohm"] / DEMO.drive.resistance_ohm
        leg.set(copper_J=copper_W * growth * STEP_S, iron_J=iron_W * STEP_S)
        warm(leg.leg, leg.rig, STEP_S)


def test_a_winding_settles_where_the_feedback_of_its_copper_lets_it():
    # dT = P R / (1 - a P R) with R from winding to air: 3 W on 0.9 + 5.0 K/W, by hand.
    leg = Leg()
    heated(leg, 3.0, 0.0, 4000.0)
    assert leg["winding_K"] == pytest.approx(17.7 / (1 - 0.00393 * 17.7), rel=1e-3)


def test_the_case_takes_iron_loss_and_gives_it_to_the_air():
    leg = Leg()
    heated(leg, 0.0, 4.0, 4000.0)
    assert leg["case_K"] == pytest.approx(4.0 * DEMO.drive.case_to_air_K_per_W, rel=1e-3)
    # Nothing flows through the winding, so it is as warm as the case.
    assert leg["winding_K"] == pytest.approx(leg["case_K"], rel=1e-3)


def test_no_heat_is_lost_on_the_way():
    # In a moment too short for any to reach the air, all of it is in the two bodies.
    leg = Leg()
    heated(leg, 10.0, 5.0, 0.2)
    drive = DEMO.drive
    stored_J = leg["winding_K"] * drive.winding_J_per_K + leg["case_K"] * drive.case_J_per_K
    assert stored_J == pytest.approx(3.0, rel=2e-3)


def test_a_warm_motor_draws_less_current_at_the_same_voltage():
    # 80 K over 20 degrees C: 1 + 0.00393 x 80 = 1.3144 times the resistance, by hand.
    cold, warmed = Leg().set(duty=0.05), Leg().set(duty=0.05)
    heated(warmed, 0.0, 80 / DEMO.drive.case_to_air_K_per_W, 4000.0)
    assert warmed.current_A() == pytest.approx(cold.current_A() / 1.3144, rel=1e-3)


def test_sizing_foresees_the_warmth_of_a_ten_minute_walk():
    # Sizing averages over a stride; the simulator makes every joule where it comes about.
    rig = changed(wants={"walk_s": 600.0})
    trace = walk(rig, 600.0, raises=metronome_raises(rig, 600.0))
    (row,) = [row for row in rows_of(rig) if row.check.what.startswith("warmth")]
    warmest_K = np.max(trace["left"]["winding_K"])
    assert warmest_K > 10
    assert row.demand == pytest.approx(warmest_K, rel=0.15)
