"""The simulated tackle and gear train against handbook figures."""

from dataclasses import replace

import pytest
from legsim.drive import tackle_force_N, turn_motor
from legsim.plant import start_state
from legsim.records import rig_record
from legsim.rig import Controller, Drive, Rig


def test_a_tackle_of_four_parts_on_plain_sheaves_pulls_three_and_a_quarter_times_its_line():
    # Pipeline Rules of Thumb Handbook, block and tackle: with E 0.917, 1000 lb on the lead
    # line lift 3250 lb. Its formula gives 3.236.
    rig = Rig()
    rig = replace(rig, rope=replace(rig.rope, parts=4, sheave_efficiency=0.917))
    leg = start_state(rig, 1)[0]["left"]
    leg["motor_radps"] = 500.0  # it takes line in, so the tackle hauls
    assert tackle_force_N(leg, rig_record(rig)[0], 1000.0) == pytest.approx(3250, rel=0.01)


@pytest.mark.parametrize(("mesh", "train"), [(0.95, 0.857), (0.98, 0.941)])
def test_three_meshes_pass_on_their_product_and_take_as_much_backwards(mesh, train):
    # 95 to 98 % a mesh (howengineeringworks.com): three make 0.857 to 0.941.
    drive = Drive(mesh_efficiency=mesh, gear_stages=3, no_load_current_A=0)
    ideal_Nm = 200 * drive.drum_radius_m / drive.gear_ratio
    assert ideal_Nm / load_Nm(drive, 500.0, 200.0) == pytest.approx(train, rel=2e-3)
    assert load_Nm(drive, -500.0, 200.0) / ideal_Nm == pytest.approx(train, rel=2e-3)


def load_Nm(drive: Drive, motor_radps: float, tension_N: float) -> float:
    """Torque of the line's tension at the turning motor, from how a coasting one slows."""
    rig = replace(Rig(), drive=drive, controller=Controller(neutral="coast"))
    state = start_state(rig, 1)[0]
    leg = state["left"]
    leg["motor_radps"] = motor_radps
    step_s = 1e-6
    turn_motor(leg, rig_record(rig)[0], state, tension_N, step_s)
    slowed_radps = motor_radps - float(leg["motor_radps"])
    return slowed_radps / step_s * drive.rotor_inertia_kgm2
