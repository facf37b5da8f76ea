"""A stage of commissioning bounds what settings may ask for, and the board refuses more."""

import pytest
from legcore.validity import problem
from legsim.rig import Rig
from legsim.settings import core_rig
from legsim.tables import STAGES, Stage
from rigs import changed

each_stage = pytest.mark.parametrize("stage", STAGES, ids=[stage.name for stage in STAGES])


@each_stage
def test_settings_made_for_a_stage_keep_its_bounds_and_are_accepted(stage: Stage) -> None:
    settings = core_rig(changed(control={"stage": stage.name})).settings
    assert settings.drive_max_permille <= stage.drive_permille
    assert settings.lift_step_q6 * settings.visit_hz / 64 <= stage.speed_cdps
    assert problem(settings) == ""


@pytest.mark.parametrize(
    "field",
    ["drive_max_permille", "lift_step_q6", "lower_step_q6", "release_step_q6", "stall_ticks"],
)
@each_stage
def test_the_board_refuses_settings_over_their_stage(stage: Stage, field: str) -> None:
    settings = core_rig(changed(control={"stage": stage.name})).settings
    setattr(settings, field, most_of(field))
    if field == "drive_max_permille" and stage.drive_permille == most_of(field):
        assert problem(settings) == "", "full drive is what the last stage is for"
    else:
        assert field in problem(settings)


def most_of(field: str) -> int:
    """The largest value that the field itself can hold."""
    from legcore.model import SETTINGS

    return next(row[3] for row in SETTINGS if row[0] == field)


def test_settings_that_were_walking_settings_are_refused_on_the_stand() -> None:
    settings = core_rig(Rig()).settings
    settings.stage = [stage.name for stage in STAGES].index("stand")
    assert "at the stage stand" in problem(settings)
