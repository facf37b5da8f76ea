"""A pair of wings with all well, made of plain numbers, for tests of one part at a time."""

from types import SimpleNamespace

from legcore import wing_model
from legcore.model import make
from legcore.wing_phases import OFF, RESTING

UP_CDEG = 4000
SETTINGS = {
    "visit_hz": 125,
    "call_cdeg": 300,
    "command_kind": wing_model.STICK_COMMAND,
    "rest_fold_cdeg": 200,
    "lowered_cdeg": -1000,
    "raised_cdeg": 8000,
    "arrive_cdeg": 100,
    "down_ticks": 500,
    "fold_min_cdeg": -1500,
    "fold_max_cdeg": 9000,
    "pot_ticks": 8,
    "sunk_cdeg": 700,
    "stall_drive_permille": 220,
    "stall_move_cdeg": 100,
    "against_cdps": 1000,
    "rate_most_cdps": 9000,
    "adrift_cdeg": 600,
    "stop_margin_cdeg": 150,
    "hot_mK": 78000,
    "battery_least_mV": 19800,
    "supply_least_mV": 4500,
    "stick_ticks": 12,
    "late_most": 64,
    "usual_mV": 22800,
    "table_step_cdeg": 450,
    "arm_ticks": 50,
    "stage": 3,
}


def scene(phase=RESTING, other_phase=None, side=0, **changes):
    """Wings armed and all well: the pair, the wing that is looked at, the other one, settings."""
    wings = make("Wings")
    never = {row[0]: 2000 for row in wing_model.WING_SETTINGS if row[0].endswith("_ticks")}
    for name, value in (never | SETTINGS | changes).items():
        setattr(wings.settings, name, value)
    pair = (wings.left, wings.right)
    wing, other = pair[side], pair[1 - side]
    calm(wing, wings.settings, phase)
    calm(other, wings.settings, min(phase, RESTING) if other_phase is None else other_phase)
    for cal in (wings.settings.left_pot, wings.settings.right_pot):
        cal.low_count, cal.high_count = 900, 3100
    wings.contactor = int(phase != OFF or other.phase != OFF)
    wings.arm = wings.arm_was = 1
    wings.battery_mV, wings.supply_mV = 22800, 5000
    return SimpleNamespace(wings=wings, wing=wing, other=other, settings=wings.settings)


def calm(wing, settings, phase):
    """Where a wing in a phase usually is, at rest there."""
    wing.phase, wing.phase_not = phase, -1 - phase
    wing.primed = 1
    wing.pot.count = wing.pot.good_count = 2000
    put_pose(wing, settings.rest_fold_cdeg if phase <= RESTING else UP_CDEG)
    wing.warmed_cdeg = wing.fold_cdeg


def put_pose(wing, cdeg):
    """Raise a wing to a pose, its setpoint with it."""
    wing.fold_cdeg = cdeg
    wing.fold_cdeg_q4 = cdeg * 16
    wing.setpoint_cdeg_q6 = cdeg * 64
