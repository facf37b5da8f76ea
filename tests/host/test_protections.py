"""Each protection is needed: take any one row of the fault table away, and a drill case fails."""

from dataclasses import replace
from typing import Any, NamedTuple

import pytest
from hocklift.drilling import Ran, run_table_case, table_cases
from legcore.faults import END_STOP, HOT, MISMATCH, POT_FROZEN, RATE
from legcore.phases import HELD, LIFTING, STANDING, STOOPING
from legsim.drill import Case, Drill, Strike
from legsim.rig import Rig
from legsim.tables import FAULTS, Fault
from legsim.troubles import TROUBLES
from masked import MaskedDrill

SEED = 1


class Stage(NamedTuple):
    """A rig and a case on which a row shows its worth, where the demo rig's own cases do not."""

    rig: Rig
    trouble: str
    phase: int
    wait_s: float
    seconds: float = 20.0


def rig_with(**sections: dict[str, Any]) -> Rig:
    return replace(
        Rig(), **{name: replace(getattr(Rig(), name), **new) for name, new in sections.items()}
    )


STAGES = {
    # A frozen shank also shows as a leg that does not follow, a frozen thigh does not.
    POT_FROZEN: Stage(Rig(), "pot frozen", LIFTING, 0.15),
    # On the way down a jammed leg is a stall, too; held, nothing shows before it is to rise.
    MISMATCH: Stage(Rig(), "drum jams", STOOPING, 5.0),
    # The demo rig's motor is too slow to run away before its rope is seen to be slack; with
    # fewer turns to the drum it would throw the leg into its stop by then.
    RATE: Stage(rig_with(drive={"gear_ratio": 7.0}), "controller full up", LIFTING, 0.2),
    # The end stop lies farther than slack is allowed from any lift but a high one.
    END_STOP: Stage(
        rig_with(
            wants={"clearance_m": 0.165, "clearance_worst_m": 0.12, "lift_s": 1.3, "lower_s": 1.5}
        ),
        "controller full up",
        HELD,
        0.0,
    ),
    # The demo rig's motors never get hot; small ones in a box without air do.
    HOT: Stage(
        rig_with(drive={"case_to_air_K_per_W": 30.0, "case_J_per_K": 3.0, "winding_J_per_K": 2.0}),
        "never rests",
        STANDING,
        0.0,
        150.0,
    ),
}


def staged(stage: Stage) -> Case:
    trouble = next(one for one in TROUBLES if one.name == stage.trouble)
    return Case((Strike(trouble, 0, stage.phase, stage.wait_s, 0),), SEED, 0, stage.seconds)


def candidates(fault: Fault) -> list[Case]:
    """Cases that the row must see, those first that fewest other rows may see instead."""
    found = []
    for case in table_cases(SEED):
        strike = case.strikes[0]
        for sight in strike.trouble.sights:
            if sight.rows & fault.bit and strike.phase in sight.phases and strike.leg == 0:
                found.append((sight.rows.bit_count(), len(found), case))
    return [case for _, _, case in sorted(found)]


def first_failing(rig: Rig, cases: list[Case], masked: int) -> Ran | None:
    bench = MaskedDrill(rig, masked)
    return next((ran for case in cases if (ran := run_table_case(bench, case)).failures), None)


def test_a_core_that_is_blind_to_nothing_does_what_the_compiled_one_does() -> None:
    case = next(table_cases(SEED))
    assert MaskedDrill(Rig(), 0).outcome(case) == Drill(Rig()).outcome(case)


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
def test_without_this_row_a_drill_case_fails_that_passes_with_it(
    fault: Fault, record_property: Any
) -> None:
    stage = STAGES.get(fault.bit)
    rig = stage.rig if stage else Rig()
    cases = [staged(stage)] if stage else candidates(fault)
    assert cases, f"no trouble of the drill needs the row {fault.name}"
    ran = first_failing(rig, cases[:4], fault.bit)
    assert ran is not None, f"nothing fails without the row {fault.name}"
    assert not run_table_case(Drill(rig), ran.case).failures
    record_property(f"without {fault.name}", f"{ran.words}: {ran.failures[0].words}")
