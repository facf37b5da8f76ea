"""The drill's own promise on the demo rig: every trouble, everywhere, and ten thousand at random.

Nothing ends with a motor driven outside its limits, a leg folded while it bears, a fold past
the hard stop, or a leg moved by a fault that nobody saw; what physics makes unavoidable
stays within the bound that its row in `legsim.troubles` states.
"""

from typing import Any

import numpy as np
import pytest
from hocklift.drilling import Ran, random_case, run_random_case, run_table_case, table_cases
from legsim.drill import Drill
from legsim.rig import Rig
from legsim.tables import PHASES
from legsim.troubles import TROUBLES

RANDOM_CASES = 10_000
# Small enough that two test processes share them evenly.
CHUNK = 500


def words(rans: list[Ran]) -> list[str]:
    return [
        f"seed {ran.case.seed}: {ran.words}: {'; '.join(one.words for one in ran.failures)}"
        for ran in rans
        if ran.failures
    ]


def of(trouble: str) -> list[Any]:
    return [case for case in table_cases(1) if case.strikes[0].trouble.name == trouble]


@pytest.mark.parametrize("trouble", [trouble.name for trouble in TROUBLES])
def test_a_trouble_is_seen_in_time_and_ends_safe_in_every_phase_of_either_leg(trouble: str) -> None:
    cases = of(trouble)
    assert len(cases) == 2 * len(PHASES)
    drill = Drill(Rig())
    rans = [run_table_case(drill, case) for case in cases]
    assert all(ran.outcome.struck for ran in rans)
    assert words(rans) == []


@pytest.mark.parametrize("start", range(0, RANDOM_CASES, CHUNK))
def test_random_troubles_alone_and_in_pairs_end_safe(start: int, record_property: Any) -> None:
    drill = Drill(Rig())
    # Other seeds than those that the command starts from.
    rans = [run_random_case(drill, random_case(10_000 + start + i)) for i in range(CHUNK)]
    struck = [ran.outcome for ran in rans if ran.outcome.struck]
    assert len(struck) > 0.9 * CHUNK
    pairs = sum(len(ran.case.strikes) == 2 for ran in rans)
    assert 0.4 * CHUNK < pairs < 0.6 * CHUNK
    # A stoop is one phase of seven: every one is struck, by one of the pair or the other.
    phases = {strike.phase for ran in rans if ran.outcome.struck for strike in ran.case.strikes}
    assert phases == set(range(len(PHASES)))
    record_property(
        f"random cases {start} to {start + CHUNK}",
        f"{len(struck)} struck, {pairs} pairs,"
        f" {sum(bool(one.fault_bits) for one in struck)} seen,"
        f" median time to see {np.median([o.seen_s for o in struck if o.fault_bits]):.2f} s,"
        f" {sum(one.crashed for one in struck)} ended the program",
    )
    assert words(rans) == []
