"""Heat of the motor: where it comes from, where it goes, and what it does to the copper."""

import numpy as np
import pytest
from hocklift.sizing.checks import rows_of
from legsim.heat import warm
from legsim.perturb import perturbed
from legsim.run import Walk
from legsim.wearer import metronome_raises, script
from rigs import DEMO, FEET, LEFT, MARCHING, READY_S, Leg, changed, raised, walk

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


def estimate_off_K(walk: Walk) -> np.ndarray:
    """By how much the core's estimate of a winding is over the truth, all through a walk."""
    off_K = []
    for _ in walk.ticks(250):
        for foot in FEET:
            estimate_K = walk.core[foot]["winding_mK_q8"][0] / 256e3
            off_K.append(estimate_K - walk.state[foot]["winding_K"][0])
    assert not (walk.trace["left"]["fault_bits"] | walk.trace["right"]["fault_bits"]).any()
    return np.array(off_K)


# A motor that burns is worse than a walk that ends early: hence no more than this under.
UNDER_K, OVER_K = 10, 30


# The demo rig itself, and other builds: lossy and thrifty motors, weak and full batteries.
@pytest.mark.parametrize("seed", [None, 16, 34, 39, 57, 86, 93])
def test_the_core_foretells_the_windings_warmth_of_a_twenty_minute_walk(seed, record_property):
    rig = DEMO if seed is None else perturbed(DEMO, seed)
    lines = script(rig, metronome_raises(rig, 1200.0), 1200.0, seed or 1)
    other = Walk(rig, lines, seed or 1, believed=DEMO)
    off_K = estimate_off_K(other)
    warmest_K = max(float(other.state[foot]["winding_K"][0]) for foot in FEET)
    record_property(
        f"warmth of a winding by the core, {'demo rig' if seed is None else f'rig {seed}'}",
        f"{off_K.min():+.0f} to {off_K.max():+.0f} K off on the way to {warmest_K:.0f} K",
    )
    assert warmest_K > 25
    assert off_K.min() >= -UNDER_K and off_K.max() <= OVER_K


# Seconds up, and from one raise to the next.
@pytest.mark.parametrize(("up_s", "every_s"), [(0.12, 0.6), (0.25, 1.2), (0.7, 1.7), (5.0, 7.0)])
def test_the_core_foretells_the_warmth_of_a_leg_that_steps_as_fast_or_holds_as_long_as_it_can(
    up_s, every_s, record_property
):
    # One leg alone, on the spot; a switch that is never seen would end it.
    rig = changed(MARCHING, safety={"unseen_lifts": 200})
    count = min(180, int(600 / every_s))
    starts_s = [READY_S + i * every_s for i in range(count)]
    raises = [raised(LEFT, start_s, start_s + up_s) for start_s in starts_s]
    seconds = READY_S + count * every_s + 2
    off_K = estimate_off_K(Walk(rig, script(rig, raises, seconds), 1))
    record_property(
        f"warmth of a winding by the core, up {up_s} s of {every_s} s",
        f"{off_K.min():+.0f} to {off_K.max():+.0f} K off",
    )
    assert off_K.min() >= -UNDER_K and off_K.max() <= OVER_K


def test_a_motor_that_is_driven_and_does_not_turn_is_reckoned_hotter_than_it_is_not_cooler():
    # A stall would end it; here it is let go on for as long as a foot may be held up.
    rig = changed(MARCHING, safety={"stall_drive": 0.95})
    foot = raised(LEFT, READY_S, READY_S + DEMO.control.hold_time_s)
    jammed = Walk(rig, script(rig, [foot], READY_S + 8.0), 1)
    jammed.state["left"]["jammed"] = 1.0
    leg = jammed.run()["left"]
    assert leg["current_peak_A"].max() == DEMO.controller.start_current_A
    assert jammed.core["left"]["winding_mK_q8"][0] / 256e3 > leg["winding_K"][-1] > 5
