"""Settings that must not be used at all, and the words in which that is said."""

import forms
import pytest
import wasm
from fields import names, put, ranges, slots
from legcore.model import RECORDS, VISIT_TICKS, make
from legcore.validity import problem
from legsim import core
from legsim.tables import STAGES
from walk import fill_settings


@pytest.fixture
def settings():
    made = make("Settings")
    fill_settings(made)
    return made


def test_the_demo_settings_have_no_problem(settings):
    assert problem(settings) == ""


EDGES = [
    (i, name.split("[")[0], low, high)
    for i, (name, (low, high)) in enumerate(zip(names("Settings"), ranges("Settings"), strict=True))
]


@pytest.mark.parametrize(("i", "name", "low", "high"), EDGES, ids=names("Settings"))
def test_a_setting_out_of_its_range_is_named(settings, i, name, low, high):
    for value in (low - 1, high + 1):
        put(slots(settings, "Settings")[i], value)
        assert problem(settings).startswith(f"{name} is {value} ")


def most_of(stage, settings):
    """The largest setting that a stage allows, of each quantity that it limits."""
    hz = settings.visit_hz
    step_q6 = stage.speed_cdps * 64 // hz
    return {
        "drive_max_permille": stage.drive_permille,
        "stall_ticks": stage.stall_ms * hz * VISIT_TICKS // 1000,
        "lift_step_q6": step_q6,
        "lower_step_q6": step_q6,
        "release_step_q6": step_q6,
        "stoop_step_q6": step_q6,
    }


@pytest.mark.parametrize("stage", range(len(STAGES)), ids=[stage.name for stage in STAGES])
def test_a_setting_over_what_its_stage_allows_is_named(settings, stage):
    settings.stage = stage
    most = most_of(STAGES[stage], settings)
    for name, value in most.items():
        setattr(settings, name, value)
    assert problem(settings) == ""
    for name, value in most.items():
        setattr(settings, name, value + 1)
        assert problem(settings).startswith(name)
        setattr(settings, name, value)


JOINTS = [row[0] for row in RECORDS["Settings"] if row[1] == "Calibration"]
each_joint = pytest.mark.parametrize("joint", JOINTS)


@each_joint
def test_a_joint_that_was_never_calibrated_is_named(settings, joint):
    fresh = make("Calibration")
    cal = getattr(settings, joint)
    cal.count[:], cal.angle_cdeg[:] = fresh.count, fresh.angle_cdeg
    assert problem(settings).startswith(joint)


@each_joint
def test_a_joint_whose_calibration_has_no_sense_is_named(settings, joint):
    cal = getattr(settings, joint)
    for table, i in (("count", 2), ("angle_cdeg", 3)):
        kept = getattr(cal, table)[i]
        getattr(cal, table)[i] = getattr(cal, table)[i - 1]
        assert problem(settings).startswith(joint)
        getattr(cal, table)[i] = kept
    for name, value in (("low_count", cal.count[0] + 1), ("high_count", cal.count[-1] - 1)):
        kept = getattr(cal, name)
        setattr(cal, name, value)
        assert problem(settings).startswith(joint)
        setattr(cal, name, kept)


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ("fold_min_cdeg", "rest_fold_cdeg"),
        ("rest_fold_cdeg", "lift_fold_cdeg"),
        ("lift_fold_cdeg", "fold_max_cdeg"),
        ("rest_fold_cdeg", "step_fold_cdeg"),
        ("step_fold_cdeg", "stoop_fold_cdeg"),
        ("stoop_fold_cdeg", "fold_max_cdeg"),
        ("thigh_min_cdeg", "thigh_max_cdeg"),
        ("shank_min_cdeg", "shank_max_cdeg"),
        ("stick_low_count", "stick_centre_count"),
        ("stick_centre_count", "stick_high_count"),
    ],
)
def test_two_limits_that_cross_are_named(settings, low, high):
    setattr(settings, low, getattr(settings, high) + 1)
    assert f"{low} is over {high}" in problem(settings)


VET = """
from legcore.model import make
from legcore.validity import problem
s = make("Settings")
print(problem(s))
{fill}
print(problem(s))
s.hold_ticks = 0
print(problem(s))
s.hold_ticks = 1
s.stage = 0
print(problem(s))
"""


@pytest.mark.parametrize("bits", [64, 32])
def test_a_board_vets_its_settings_in_the_same_words(tmp_path, settings, bits, capsys):
    values = zip(names("Settings"), core.integers(settings, "Settings"), strict=True)
    script = VET.format(fill="\n".join(f"s.{name} = {value}" for name, value in values))
    (tmp_path / "vet.py").write_text(script)
    forms.copy_core(tmp_path, forms.BYTECODE)
    if bits == 64:
        said = forms.run_on_64_bit(tmp_path, "vet.py")
    else:
        said, _ = wasm.run(tmp_path, "vet.py")
    exec(script, {})
    assert said == capsys.readouterr().out
    assert said.count("\n") == 4
