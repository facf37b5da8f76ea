"""Each refusal of the core is needed: take it away, and a case of the drill fails.

What excludes each other is a step while stooped, a stoop while a foot is up, both feet up, and
arming with the stick off its middle.
"""

from collections.abc import Callable
from typing import Any

import pytest
from hocklift.drilling import run_table_case, table_cases
from legcore.arming import STICK_AWAY
from legcore.phases import ASK, HELD, LANDED, LIFTING, OFF, STANDING, STOOPING
from legsim.drill import Drill
from legsim.rig import Rig
from masked import MaskedDrill

SEED = 1


def at_any_height(modules: Any) -> None:
    """A raised foot ends a stoop however deep it is."""
    risen = modules["supervise"].risen

    def heedless(leg: Any, other: Any, rig: Any) -> Any:
        return LANDED if leg.pressed or other.pressed else risen(leg, other, rig)

    modules["supervise"].risen = heedless


def with_a_foot_up(modules: Any) -> None:
    """The stick is heeded by a leg that stands, whatever the other one does."""
    modules["supervise"].may_stoop = lambda leg, other, settings: 1
    heed = modules["watch"].heed

    def ready(rig: Any, settings: Any) -> None:
        heed(rig, settings)
        rig.stick_ready = 1

    modules["watch"].heed = ready


def both_at_once(modules: Any) -> None:
    """A raised foot is lifted, whether the other leg stands or not."""
    modules["supervise"].asked = lambda leg, other, settings: ASK if leg.pressed else 0


def with_the_stick_away(modules: Any) -> None:
    """Arming asks for all but the stick."""
    blocks = modules["supervise"].arming_blocks
    modules["supervise"].arming_blocks = lambda rig, faults: blocks(rig, faults) & ~STICK_AWAY


@pytest.mark.parametrize(
    ("taken", "trouble", "phase"),
    [
        (at_any_height, "foot raised", STOOPING),
        (with_a_foot_up, "stick off middle", HELD),
        (both_at_once, "both feet raised", LIFTING),
        (with_the_stick_away, "stick off middle", OFF),
    ],
    ids=lambda one: getattr(one, "__name__", str(one)),
)
def test_without_this_refusal_a_drill_case_fails_that_passes_with_it(
    taken: Callable[[Any], None], trouble: str, phase: int, record_property: Any
) -> None:
    case = next(
        case
        for case in table_cases(SEED)
        if case.strikes[0].trouble.name == trouble and case.strikes[0].phase == phase
    )
    assert run_table_case(Drill(Rig()), case).failures == ()
    drill = MaskedDrill(Rig(), 0)
    taken(drill.blind.modules)
    ran = run_table_case(drill, case)
    measures = [failure.measure for failure in ran.failures]
    assert "excluded_ticks" in measures, (ran.words, ran.outcome)
    record_property(f"without {taken.__name__}", "; ".join(one.words for one in ran.failures))


def test_legs_that_stand_and_lift_in_turn_exclude_nothing() -> None:
    """The measure itself: walking and stooping without trouble leave it at nothing."""
    for case in table_cases(SEED):
        strike = case.strikes[0]
        if strike.trouble.name == "never rests" and strike.phase in (STANDING, STOOPING):
            drill = Drill(Rig())
            outcome = drill.outcome(case)
            assert outcome.struck and outcome.excluded_ticks == 0
