"""A campaign of troubles on a simulated rig with wings: which cases, and whether each is safe."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from legsim.core import word_of, words_of
from legsim.settings import SettingsError
from legsim.strike import NOWHERE
from legsim.tables import fault_names
from legsim.troubles import CORE_SETTINGS, CORE_STATE, Trouble
from legsim.wing.drill import (
    SECONDS,
    WING_LIMITS,
    WingCase,
    WingDrill,
    WingOutcome,
    WingStrike,
)
from legsim.wing.rig import WingRig
from legsim.wing.script import WINGS
from legsim.wing.settings import core_wings
from legsim.wing.tables import WING_FAULTS
from legsim.wing.troubles import MOMENTS, WING_DOUBLES, WING_TROUBLES
from rich.console import Console

from hocklift.drilling import nearest_to, of_most, over_words, sight_times
from hocklift.errors import RigFileError
from hocklift.progress import bar

_WORD_BITS = 32
_PHASE_CHANGES = "phase changes"


@dataclass(frozen=True)
class WingRan:
    """One case, what came of it, and in words why that is not safe (nothing: it is)."""

    case: WingCase
    outcome: WingOutcome
    harms: tuple[str, ...]
    unseen: tuple[str, ...] = ()

    @property
    def failures(self) -> tuple[str, ...]:
        """All that is not as it must be: what it did, and who did not see it."""
        return self.harms + self.unseen

    @property
    def words(self) -> str:
        """The case as people read it."""
        return " and ".join(strike_words(strike) for strike in self.case.strikes)

    @property
    def seen_words(self) -> str:
        """Every row of the fault table that saw something."""
        return ", ".join(fault_names(self.outcome.fault_bits, WING_FAULTS)) or "nothing"

    @property
    def nearest_limit(self) -> tuple[float, str]:
        """How near the case came to a limit that nothing spares it (1 is at it), and to which."""
        return nearest_to(
            WING_LIMITS,
            lambda measure: float(getattr(self.outcome, measure)),
            lambda measure: _spared(self.case, measure),
        )

    @property
    def nearest_words(self) -> str:
        """How near the case came to a limit, as people read it with its seed."""
        nearness, measure = self.nearest_limit
        limit = WING_LIMITS[measure]
        found = of_most(getattr(self.outcome, measure), limit.most, limit.unit)
        return f"{nearness:.2f}, seed {self.case.seed}: {self.words}; {limit.text}, {found}"


@dataclass(frozen=True)
class WingCampaign:
    """All cases of one drill of wings."""

    rig: WingRig
    rig_name: str
    seed: int
    table: tuple[WingRan, ...]
    random: tuple[WingRan, ...]

    @cached_property
    def unsafe(self) -> tuple[WingRan, ...]:
        """The cases that did not end safe, those of the table first."""
        return tuple(ran for ran in (*self.table, *self.random) if ran.failures)

    @property
    def nearest(self) -> tuple[WingRan, ...]:
        """The random cases that came nearest to a limit, the nearest first."""
        struck = [ran for ran in self.random if ran.outcome.struck]
        return tuple(sorted(struck, key=lambda ran: ran.nearest_limit[0], reverse=True)[:5])

    @cached_property
    def untried(self) -> tuple[WingRan, ...]:
        """The cases of the table whose moment never came, so that nothing struck."""
        return tuple(ran for ran in self.table if not ran.outcome.struck)

    @property
    def met(self) -> bool:
        """Whether every case of the table was tried, and every case ended safe."""
        return not self.unsafe and not self.untried

    @property
    def words(self) -> str:
        """What was drilled."""
        words = f"every trouble at every moment of either wing's show ({len(self.table)} cases)"
        if self.random:
            words += f", then {len(self.random)} random cases of one or two troubles"
        return f"{words}; seeds from {self.seed}"

    @property
    def verdict(self) -> str:
        """One line to act on."""
        count = len(self.table) + len(self.random)
        if self.unsafe:
            return (
                f"{len(self.unsafe)} of {count} cases ended unsafe. Change the rig, or its keys"
                " under [safety], and drill again."
            )
        if self.untried:
            return (
                f"{len(self.untried)} of {len(self.table)} cases of the table could not be tried:"
                " the wing never came to the moment to strike at. See first that the wings follow,"
                " with hocklift rehearse."
            )
        return f"All {count} cases ended safe, within the limits and the bounds listed."


def strike_words(strike: WingStrike) -> str:
    """One strike as people read it."""
    what = strike.trouble.name
    if "{leg}" in strike.trouble.place:
        what += f", {WINGS[strike.wing]}"
    if strike.word != NOWHERE:
        what += f", {words_of('Wings')[strike.word]}, bit {strike.bit}"
    return f"{what} ({MOMENTS[strike.moment].name}, after {strike.wait_s:.2f} s)"


def table_cases(seed: int) -> Iterator[WingCase]:
    """Every trouble at every moment, struck on either wing."""
    rng = np.random.default_rng(seed)
    for trouble in WING_TROUBLES:
        for i, moment in enumerate(MOMENTS):
            for wing in range(len(WINGS)):
                strike = _strike(rng, trouble, wing, i, moment.wait_s)
                yield WingCase((strike,), seed, max(SECONDS, trouble.walk_s))


def random_case(seed: int) -> WingCase:
    """One or two troubles at random moments; all of it follows from `seed`."""
    rng = np.random.default_rng(seed)
    strikes = []
    for _ in range(rng.integers(1, 3)):
        trouble = WING_TROUBLES[rng.integers(len(WING_TROUBLES))]
        i = int(rng.integers(len(MOMENTS)))
        wait_s = rng.uniform(MOMENTS[i].soonest_s, MOMENTS[i].latest_s)
        strikes.append(_strike(rng, trouble, int(rng.integers(2)), i, wait_s))
    return WingCase(tuple(strikes), seed)


def _strike(
    rng: np.random.Generator, trouble: Trouble, wing: int, moment: int, wait_s: float
) -> WingStrike:
    word, bit = NOWHERE, 0
    settings = len(words_of("WingSettings"))
    if trouble.place == CORE_SETTINGS:
        word = int(rng.integers(settings))
    elif trouble.name == _PHASE_CHANGES:
        word = word_of(f"{WINGS[wing]}.phase", "Wings")
    elif trouble.place == CORE_STATE:
        word = int(rng.integers(settings, len(words_of("Wings"))))
    if word != NOWHERE:
        bit = int(rng.integers(_WORD_BITS))
    return WingStrike(trouble, wing, moment, wait_s, word, bit)


def drill_wings(
    rig: WingRig, rig_name: str, runs: int, seed: int, console: Console
) -> WingCampaign:
    """Run the whole table and `runs` random cases of the seeds `seed`, `seed` + 1, ...

    Raises RigFileError where the rig's numbers make no settings.
    """
    try:
        core_wings(rig)  # before the work, so that nobody waits for what cannot be run
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    bench = WingDrill(rig)
    planned = list(table_cases(seed))
    with bar(console, "cases") as progress:
        table = [
            run_table_case(bench, case)
            for case in progress.track(planned, description="Drilling the table")
        ]
        random = [
            run_random_case(bench, random_case(seed + i))
            for i in progress.track(range(runs), description="Drilling at random")
        ]
    return WingCampaign(rig, rig_name, seed, tuple(table), tuple(random))


def run_table_case(bench: WingDrill, case: WingCase) -> WingRan:
    """Run a case of the table: it must end safe, and be seen by its rows in their time."""
    outcome = bench.outcome(case)
    unseen = tuple(_unseen(bench, case.strikes[0], outcome)) if outcome.struck else ()
    return WingRan(case, outcome, tuple(_harms(case, outcome)), unseen)


def run_random_case(bench: WingDrill, case: WingCase) -> WingRan:
    """Run a case at a random moment: it must end safe, seen or not."""
    outcome = bench.outcome(case)
    return WingRan(case, outcome, tuple(_harms(case, outcome)))


def _harms(case: WingCase, outcome: WingOutcome) -> Iterator[str]:
    """Limits that a case passed, were they not spared."""
    if not outcome.struck:
        return
    for measure, limit in WING_LIMITS.items():
        found = float(getattr(outcome, measure))
        most = max([limit.most, *_spared(case, measure)])
        if found > most:
            yield f"{limit.text}: {over_words(found, most, limit.unit)}"


def _spared(case: WingCase, measure: str) -> list[float]:
    """Bounds of what the case's troubles make unavoidable, alone and together on one wing."""
    alone = [
        bound
        for strike in case.strikes
        for name, bound, _ in strike.trouble.spared
        if name == measure
    ]
    names = {strike.trouble.name for strike in case.strikes}
    if len({strike.wing for strike in case.strikes}) > 1:
        return alone
    doubles = (one for one in WING_DOUBLES if one.measure == measure and names == set(one.names))
    return alone + [one.most for one in doubles]


def _unseen(bench: WingDrill, strike: WingStrike, outcome: WingOutcome) -> Iterator[str]:
    """A trouble that its rows did not see and answer in time, where they must."""
    for sight in strike.trouble.sights:
        if strike.moment in sight.phases:
            found_s, most_s = sight_times(sight, outcome.rows_seen_s, outcome.safe_s, bench.trips_s)
            if found_s > most_s:
                names = " or ".join(fault_names(sight.rows, WING_FAULTS))
                yield f"to be seen by {names}, and safe: {over_words(found_s, most_s, 's')}"


def due_rows(strike: WingStrike) -> int:
    """Rows of which one must see a strike."""
    rows = 0
    for sight in strike.trouble.sights:
        if strike.moment in sight.phases:
            rows |= sight.rows
    return rows
