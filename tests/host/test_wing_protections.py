"""Each protection of the wings is needed: without any one row of their table a drill case fails."""

from dataclasses import replace
from math import radians
from typing import Any, NamedTuple

import pytest
from hocklift.wing_drilling import WingRan, run_table_case, table_cases
from legcore.faults import ADRIFT, AGAINST, END_STOP, HOT, RATE, STALL
from legsim.tables import Fault
from legsim.wing.drill import SECONDS, WingCase, WingDrill, WingStrike
from legsim.wing.rig import WingRig
from legsim.wing.tables import WING_FAULTS
from legsim.wing.troubles import AT_REST, HELD, RISING, WING_TROUBLES
from masked import MaskedWingDrill

SEED = 1
DEMO = WingRig()


class Stage(NamedTuple):
    """A rig and a case on which a row shows its worth, where the demo rig's own cases do not."""

    rig: WingRig
    trouble: str
    moment: int
    wait_s: float
    seconds: float = SECONDS


def rig_with(**sections: dict[str, Any]) -> WingRig:
    return replace(
        DEMO, **{name: replace(getattr(DEMO, name), **new) for name, new in sections.items()}
    )


STAGES = {
    # The demo rig's setpoint runs on so far, before it waits, that a jammed wing is also adrift.
    STALL: Stage(rig_with(safety={"adrift_rad": radians(15)}), "drum jams", RISING, 0.8),
    # Held up, a wing that runs away from its drive is at its hard stop before it is adrift.
    AGAINST: Stage(DEMO, "motor reversed", HELD, 4.0),
    # The demo rig's motor is too slow to throw its wing before it is seen to be adrift.
    RATE: Stage(rig_with(drive={"gear_ratio": 7.0}), "controller full up", RISING, 0.8),
    # A drive without power is a stall, too, where so much is asked of it in vain; here less is.
    ADRIFT: Stage(rig_with(safety={"stall_drive": 0.9}), "controller dead", RISING, 0.8),
    # Past its end the law pushes the wing back, which shows as motion against the drive, and soon
    # it is adrift: unless these two rows have more patience than the demo rig's.
    END_STOP: Stage(
        rig_with(safety={"against_time_s": 1.0, "adrift_rad": radians(25)}),
        "controller deaf",
        RISING,
        0.8,
    ),
    # The demo rig's motors never get hot; small ones in a box without air do, under three times
    # the load.
    HOT: Stage(
        rig_with(
            drive={"case_to_air_K_per_W": 30.0, "case_J_per_K": 3.0, "winding_J_per_K": 2.0},
            wants={"load_kg": 6.0},
        ),
        "never rests",
        AT_REST,
        0.0,
        150.0,
    ),
}


def staged(stage: Stage) -> WingCase:
    trouble = next(one for one in WING_TROUBLES if one.name == stage.trouble)
    return WingCase((WingStrike(trouble, 0, stage.moment, stage.wait_s),), SEED, stage.seconds)


def candidates(fault: Fault) -> list[WingCase]:
    """Cases that the row must see, those first that fewest other rows may see instead."""
    found = []
    for case in table_cases(SEED):
        strike = case.strikes[0]
        for sight in strike.trouble.sights:
            if sight.rows & fault.bit and strike.moment in sight.phases and strike.wing == 0:
                found.append((sight.rows.bit_count(), len(found), case))
    return [case for _, _, case in sorted(found, key=lambda one: one[:2])]


def first_failing(rig: WingRig, cases: list[WingCase], masked: int) -> WingRan | None:
    bench = MaskedWingDrill(rig, masked)
    return next((ran for case in cases if (ran := run_table_case(bench, case)).failures), None)


def test_a_core_that_is_blind_to_nothing_does_what_the_compiled_one_does() -> None:
    case = next(table_cases(SEED))
    assert MaskedWingDrill(DEMO, 0).outcome(case) == WingDrill(DEMO).outcome(case)


@pytest.mark.parametrize("fault", WING_FAULTS, ids=[fault.name for fault in WING_FAULTS])
def test_without_this_row_a_drill_case_fails_that_passes_with_it(
    fault: Fault, record_property: Any
) -> None:
    stage = STAGES.get(fault.bit)
    rig = stage.rig if stage else DEMO
    cases = [staged(stage)] if stage else candidates(fault)
    assert cases, f"no trouble of the drill needs the row {fault.name}"
    ran = first_failing(rig, cases[:4], fault.bit)
    assert ran is not None, f"nothing fails without the row {fault.name}"
    assert not run_table_case(WingDrill(rig), ran.case).failures
    record_property(f"wings without {fault.name}", f"{ran.words}: {ran.failures[0]}")
