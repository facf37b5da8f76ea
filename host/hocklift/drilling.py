"""A campaign of troubles on a simulated rig: which cases, and whether each ended safe."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass
from functools import cached_property
from math import inf
from typing import NamedTuple

import numpy as np
from legcore.phases import HELD, LIFTING, LOWERING, OFF, RELEASING, STANDING, STOOPING
from legsim.core import word_of, words_of
from legsim.drill import FEET, LIMITS, Case, Drill, Limit, Outcome, Strike
from legsim.rig import Rig
from legsim.settings import SettingsError, core_rig
from legsim.strike import NOWHERE
from legsim.tables import FAULTS, PHASES, Fault, fault_names
from legsim.troubles import CORE_SETTINGS, CORE_STATE, DOUBLES, TROUBLES, Sight, Trouble
from rich.console import Console

from hocklift.errors import RigFileError
from hocklift.progress import bar

# (phase, moment at which the table of all troubles strikes, longest wait at random), both
# after a leg has come into the phase.
MOMENTS = (
    (OFF, 0.0, 1.5),
    (STANDING, 0.2, 1.5),
    (LIFTING, 0.15, 0.5),
    (HELD, 0.15, 0.6),
    (LOWERING, 0.3, 0.55),
    (RELEASING, 0.15, 0.8),
    (STOOPING, 2.0, 7.0),
)
_WORD_BITS = 32
_PHASE_CHANGES = "phase changes"


class Failure(NamedTuple):
    """Why a case did not end safe."""

    measure: str
    found: float
    most: float
    text: str

    @property
    def words(self) -> str:
        """The failure as people read it."""
        return f"{self.text}: {over_words(self.found, self.most, _unit(self.measure))}"


# To these digits a figure that is over its limit also reads as being over it.
_DIGITS = {"s": 3, "deg": 1, "K": 1, "ticks": 0}


def over_words(found: float, most: float, unit: str) -> str:
    """A figure that is over the most that is allowed, as people read it."""
    told = "never" if found == inf else f"{_figure(found, unit)} {unit}"
    return f"{told}, at most {most:g} {unit}"


def of_most(found: float | None, most: float, unit: str) -> str:
    """A figure of the most that is allowed; past a stop, less than nothing does not reach it."""
    allowed = f"of at most {most:g} {unit}"
    if found is None:
        return f"not tried, {allowed}"
    return f"not reached, {allowed}" if found < 0 else f"{_figure(found, unit)} {allowed}"


def _figure(found: float, unit: str) -> str:
    return f"{found:.{_DIGITS.get(unit, 2)}f}"


def nearest_to(
    limits: dict[str, Limit],
    found: Callable[[str], float],
    spared: Callable[[str], Sequence[float]],
) -> tuple[float, str]:
    """How near a case came to a limit that nothing spares it (1 is at it), and to which."""
    # A limit of nothing at all is either kept or not.
    return max(
        (found(measure) / limit.most, measure)
        for measure, limit in limits.items()
        if limit.most and not spared(measure)
    )


def _unit(measure: str) -> str:
    """Unit of a measure; the time to be seen has no limit of its own."""
    return LIMITS[measure].unit if measure in LIMITS else "s"


@dataclass(frozen=True)
class Ran:
    """One case, what came of it, and why that is not safe (nothing: it is)."""

    case: Case
    outcome: Outcome
    failures: tuple[Failure, ...]

    @property
    def words(self) -> str:
        """The case as people read it."""
        return " and ".join(strike_words(strike) for strike in self.case.strikes)

    @property
    def seen_words(self) -> str:
        """Every row of the fault table that saw something."""
        return ", ".join(fault_names(self.outcome.fault_bits)) or "nothing"

    @property
    def nearest_limit(self) -> tuple[float, str]:
        """How near the case came to a limit that nothing spares it (1 is at it), and to which."""
        return nearest_to(
            LIMITS,
            lambda measure: _measured(measure, self.outcome),
            lambda measure: _spared(self.case, measure),
        )

    @property
    def nearness(self) -> float:
        """How near the case came to a limit that nothing spares it: 1 is at the limit."""
        return self.nearest_limit[0]

    @property
    def nearest_words(self) -> str:
        """To which limit the case came nearest, and how near."""
        measure = self.nearest_limit[1]
        limit = LIMITS[measure]
        return f"{limit.text}, {of_most(_measured(measure, self.outcome), limit.most, limit.unit)}"


@dataclass(frozen=True)
class Campaign:
    """All cases of one drill."""

    rig: Rig
    rig_name: str
    seed: int
    table: tuple[Ran, ...]
    random: tuple[Ran, ...]

    @cached_property
    def unsafe(self) -> tuple[Ran, ...]:
        """The cases that did not end safe, those of the table first."""
        return tuple(ran for ran in self.ran if ran.failures)

    @property
    def nearest(self) -> tuple[Ran, ...]:
        """The random cases that came nearest to a limit, the nearest first."""
        struck = [ran for ran in self.random if ran.outcome.struck]
        return tuple(sorted(struck, key=lambda ran: ran.nearness, reverse=True)[:5])

    @property
    def words(self) -> str:
        """What was drilled."""
        words = f"every trouble in every phase of either leg ({len(self.table)} cases)"
        if self.random:
            words += f", then {len(self.random)} random cases of one or two troubles"
        return f"{words}; seeds from {self.seed}"

    @property
    def ran(self) -> tuple[Ran, ...]:
        """All cases, those of the table first."""
        return (*self.table, *self.random)

    @property
    def beside_words(self) -> str:
        """What became of the leg that nothing struck."""
        driven = sum(ran.outcome.other_driven for ran in self.ran)
        return (
            "A fault of one leg is acted on with both: they share one contactor and one wearer. In"
            f" {driven or 'none'} of the cases did a leg that nothing had struck begin to lift"
            " after a fault had been seen."
        )

    @property
    def untried(self) -> tuple[Ran, ...]:
        """The cases of the table whose moment never came, so that nothing struck."""
        return tuple(ran for ran in self.table if not ran.outcome.struck)

    @property
    def met(self) -> bool:
        """Whether every case of the table was tried, and every case ended safe."""
        return not self.unsafe and not self.untried

    @property
    def verdict(self) -> str:
        """One line to act on."""
        count = len(self.ran)
        if self.unsafe:
            return (
                f"{len(self.unsafe)} of {count} cases ended unsafe. Change the rig, or its keys"
                " under [safety], and drill again."
            )
        if self.untried:
            return (
                f"{len(self.untried)} of {len(self.table)} cases of the table could not be tried:"
                " the leg never came into the phase to strike in. See first that the rig walks,"
                " with hocklift rehearse."
            )
        verdict = f"All {count} cases ended safe, within the limits and the bounds listed."
        missed = sum(not ran.outcome.struck for ran in self.random)
        if missed:
            verdict += f" In {missed} of them, random ones, the moment to strike never came."
        return verdict


def strike_words(strike: Strike) -> str:
    """One strike as people read it."""
    what = strike.trouble.name
    if "{leg}" in strike.trouble.place:
        what += f", {FEET[strike.struck]}"
    if "{joint}" in strike.trouble.place:
        what += f" {strike.joint}"
    if strike.word != NOWHERE:
        what += f", {words_of('Rig')[strike.word]}, bit {strike.bit}"
    return f"{what} ({FEET[strike.leg]} leg {PHASES[strike.phase].name} for {strike.wait_s:.2f} s)"


def table_cases(seed: int) -> Iterator[Case]:
    """Every trouble in every phase, struck on either leg."""
    rng = np.random.default_rng(seed)
    for trouble in TROUBLES:
        for phase, moment_s, _ in MOMENTS:
            for leg in range(len(FEET)):
                struck = 1 - leg if trouble.beside else leg
                strike = _strike(rng, trouble, leg, phase, moment_s, struck)
                yield Case((strike,), seed, leg, trouble.walk_s)


def random_case(seed: int) -> Case:
    """One or two troubles at random moments; all of it follows from `seed`."""
    rng = np.random.default_rng(seed)
    strikes = []
    for _ in range(rng.integers(1, 3)):
        trouble = TROUBLES[rng.integers(len(TROUBLES))]
        phase, _, longest_s = MOMENTS[rng.integers(len(MOMENTS))]
        leg, struck = rng.integers(0, 2, 2).tolist()
        strikes.append(_strike(rng, trouble, leg, phase, rng.uniform(0, longest_s), struck))
    return Case(tuple(strikes), seed, strikes[0].leg)


def _strike(
    rng: np.random.Generator, trouble: Trouble, leg: int, phase: int, wait_s: float, struck: int
) -> Strike:
    joint = ("thigh", "shank")[rng.integers(2)]
    word, bit = NOWHERE, 0
    if trouble.place == CORE_SETTINGS:
        word = int(rng.integers(len(words_of("Settings"))))
    elif trouble.name == _PHASE_CHANGES:
        word = word_of(f"{FEET[struck]}.phase")
    elif trouble.place == CORE_STATE:
        word = int(rng.integers(len(words_of("Settings")), len(words_of("Rig"))))
    if word != NOWHERE:
        bit = int(rng.integers(_WORD_BITS))
    return Strike(trouble, leg, phase, wait_s, struck, joint, word, bit)


def drill(rig: Rig, rig_name: str, runs: int, seed: int, console: Console) -> Campaign:
    """Run the whole table and `runs` random cases of the seeds `seed`, `seed` + 1, ...

    Raises RigFileError where the rig's numbers make no settings.
    """
    try:
        core_rig(rig)  # before the work, so that nobody waits for what cannot be run
    except SettingsError as error:
        raise RigFileError(f"{rig_name}: {error}") from error
    bench = Drill(rig)
    planned = list(table_cases(seed))
    with bar(console, "cases") as progress:
        task = progress.add_task("Drilling", total=len(planned) + runs)
        table, random = [], []
        for case in planned:
            table.append(run_table_case(bench, case))
            progress.advance(task)
        for i in range(runs):
            random.append(run_random_case(bench, random_case(seed + i)))
            progress.advance(task)
    return Campaign(rig, rig_name, seed, tuple(table), tuple(random))


def run_table_case(bench: Drill, case: Case) -> Ran:
    """Run a case of the table: it must end safe, and be seen by its rows in their time."""
    outcome = bench.outcome(case)
    unseen = _unseen(bench, case.strikes[0], outcome) if outcome.struck else ()
    return Ran(case, outcome, (*_failures(case, outcome), *unseen))


def run_random_case(bench: Drill, case: Case) -> Ran:
    """Run a case at a random moment: it must end safe, seen or not."""
    outcome = bench.outcome(case)
    return Ran(case, outcome, tuple(_failures(case, outcome)))


def _failures(case: Case, outcome: Outcome) -> Iterator[Failure]:
    """Limits that a case passed, were they not spared."""
    if not outcome.struck:
        return
    for measure, limit in LIMITS.items():
        found = _measured(measure, outcome)
        most = max([limit.most, *_spared(case, measure)])
        if found > most:
            yield Failure(measure, found, most, limit.text)


def _measured(measure: str, outcome: Outcome) -> float:
    if measure == "strayed_deg":
        return 0.0 if outcome.fault_bits or outcome.crashed else outcome.strayed_deg
    return float(getattr(outcome, measure))


def _spared(case: Case, measure: str) -> list[float]:
    """Bounds of what the case's troubles make unavoidable, alone and together."""
    alone = [
        bound
        for strike in case.strikes
        for name, bound, _ in strike.trouble.spared
        if name == measure
    ]
    names = {strike.trouble.name for strike in case.strikes}
    together = [one.most for one in DOUBLES if one.measure == measure and names == set(one.names)]
    return alone + (together if len({strike.struck for strike in case.strikes}) == 1 else [])


def _unseen(bench: Drill, strike: Strike, outcome: Outcome) -> Iterator[Failure]:
    """A trouble that its rows did not see and answer in time, where they must."""
    for sight in strike.trouble.sights:
        if strike.phase in sight.phases:
            found_s, most_s = sight_times(sight, outcome.rows_seen_s, outcome.safe_s, bench.trips_s)
            if found_s > most_s:
                names = " or ".join(fault_names(sight.rows))
                yield Failure("seen_s", found_s, most_s, f"to be seen by {names}, and safe")


def sight_times(
    sight: Sight, rows_seen_s: dict[int, float], safe_s: float, trips_s: dict[int, float]
) -> tuple[float, float]:
    """When a row of a sight had seen its trouble and outputs were safe, and when at the latest.

    Of the rows that may see it, the one that was most in time.
    """
    return min(
        (
            (max(rows_seen_s.get(bit, inf), safe_s), round(sight.lag_s + trip_s, 6))
            for bit, trip_s in trips_s.items()
            if bit & sight.rows
        ),
        key=lambda times: times[0] - times[1],
    )


@dataclass(frozen=True)
class Summary:
    """All cases of the table that one trouble makes, in figures; None: nothing to tell."""

    trouble: Trouble
    cases: int
    unsafe: int
    must_be_seen: int
    seen: int
    seen_s: float | None
    safe_s: float | None
    rate_degps: float | None
    tension_N: float | None
    landing_mps: float | None
    other_driven: int

    @property
    def verdict(self) -> str:
        """Whether all of them ended safe; a dash where none was struck."""
        if self.unsafe:
            return "unsafe"
        return "-" if self.landing_mps is None else "safe"


def words_or_dash(figure: float | None, unit: str, digits: int = 0) -> str:
    """A figure, or a dash where there is none to tell; large ones need no digits."""
    if figure is None:
        return "-"
    return f"{figure:.{digits if figure < 100 else 0}f} {unit}"


# (heading, a trouble's figure under it), on the terminal and on the page. No cell is blank, so
# that a line read aloud keeps its places.
COLUMNS: tuple[tuple[str, Callable[[Summary], str]], ...] = (
    (
        "seen,\nof those\nit must",
        lambda row: f"{row.seen} of {row.must_be_seen}" if row.must_be_seen else "-",
    ),
    ("slowest\nto see", lambda row: words_or_dash(row.seen_s, "s", 2)),
    ("slowest\nto be\nsafe", lambda row: words_or_dash(row.safe_s, "s", 2)),
    ("fastest\nfold", lambda row: words_or_dash(row.rate_degps, "°/s")),
    ("most in\nrope", lambda row: words_or_dash(row.tension_N, "N")),
    ("hardest\nfoot\nfall", lambda row: words_or_dash(row.landing_mps, "m/s", 2)),
    ("ended", lambda row: row.verdict),
)
TIMES_MEAN = (
    " A rig that is off already is safe before it sees its trouble. Times are from the strike, and"
    " a trouble may lie hidden until the motion that shows it."
)
SAFE_MEANS = (
    "Safe is: power off, or the fault seen and each foot down or being let down." + TIMES_MEAN
)
NO_PROOF = (
    "A drill is a calculation: it proves nothing about your rig until each protection has been"
    " tried on the stand."
)


def summaries(campaign: Campaign) -> list[Summary]:
    """One summary a trouble, in the order of their table."""
    return [
        _summary(trouble, [ran for ran in campaign.table if ran.case.strikes[0].trouble is trouble])
        for trouble in TROUBLES
    ]


def _summary(trouble: Trouble, rans: list[Ran]) -> Summary:
    phases = {phase for sight in trouble.sights for phase in sight.phases}
    must = [ran for ran in rans if ran.case.strikes[0].phase in phases and ran.outcome.struck]
    seen = [ran for ran in must if not any(one.measure == "seen_s" for one in ran.failures)]
    outcomes = [ran.outcome for ran in rans if ran.outcome.struck]
    safe_s = [one.safe_s for one in outcomes if one.fault_bits and one.safe_s < inf]
    return Summary(
        trouble=trouble,
        cases=len(rans),
        unsafe=sum(bool(ran.failures) for ran in rans),
        must_be_seen=len(must),
        seen=len(seen),
        seen_s=max((ran.outcome.seen_s for ran in seen), default=None),
        safe_s=max(safe_s, default=None),
        rate_degps=max(
            (max(one.rate_up_degps, one.rate_down_degps) for one in outcomes), default=None
        ),
        tension_N=max((one.tension_peak_N for one in outcomes), default=None),
        landing_mps=max((one.landing_mps for one in outcomes), default=None),
        other_driven=sum(one.other_driven for one in outcomes),
    )


@dataclass(frozen=True)
class Bound:
    """Harm that no controller can keep from happening: how much at most, and how much it was.

    `troubles` are one or, on one leg at once, two; `found` is None where no case tried them.
    """

    troubles: tuple[str, ...]
    measure: str
    most: float
    found: float | None
    reason: str

    @property
    def who(self) -> str:
        """The troubles as people read them."""
        return " with ".join(self.troubles)

    @property
    def text(self) -> str:
        """What happens."""
        return LIMITS[self.measure].text

    @property
    def words(self) -> str:
        """What was found of how much."""
        return of_most(self.found, self.most, _unit(self.measure))


def bounds(campaign: Campaign) -> list[Bound]:
    """Everything that the troubles' rows spare, with the worst that the cases showed of it."""
    spared = [((trouble.name,), *row) for trouble in TROUBLES for row in trouble.spared]
    spared += [(double.names, *astuple(double)[1:]) for double in DOUBLES]
    return [
        Bound(troubles, measure, most, _worst(campaign, set(troubles), measure), reason)
        for troubles, measure, most, reason in spared
    ]


def _worst(campaign: Campaign, troubles: set[str], measure: str) -> float | None:
    """The worst of a measure where just these troubles struck, and one leg only."""
    return max(
        (
            _measured(measure, ran.outcome)
            for ran in campaign.ran
            if ran.outcome.struck
            and {strike.trouble.name for strike in ran.case.strikes} == troubles
            and len({strike.struck for strike in ran.case.strikes}) == 1
        ),
        default=None,
    )


@dataclass(frozen=True)
class RowSummary:
    """What one row of the fault table saw; None: no trouble of the table had to show to it."""

    fault: Fault
    cases: int
    fastest_s: float | None
    slowest_s: float | None


def row_summaries(campaign: Campaign) -> list[RowSummary]:
    """One summary a row of the fault table, in its order."""
    return [_row_summary(campaign, fault) for fault in FAULTS]


def _row_summary(campaign: Campaign, fault: Fault) -> RowSummary:
    due_s = [sight_s for sight_s, due in row_sights(campaign, fault) if due]
    return RowSummary(
        fault=fault,
        cases=sum(bool(ran.outcome.fault_bits & fault.bit) for ran in campaign.ran),
        fastest_s=min(due_s, default=None),
        slowest_s=max(due_s, default=None),
    )


def row_sights(campaign: Campaign, fault: Fault) -> Iterator[tuple[float, bool]]:
    """When a row was the first to see a trouble of the table, and whether it was due to.

    A trouble that is not due may lie hidden until the leg does what shows it.
    """
    for ran in campaign.table:
        seen_s = ran.outcome.rows_seen_s
        due = due_rows(ran.case.strikes[0])
        due_seen_s = [when for bit, when in seen_s.items() if bit & due]
        if fault.bit not in seen_s:
            continue
        when_s = seen_s[fault.bit]
        if due & fault.bit and when_s == min(due_seen_s):
            yield when_s, True
        elif not due and when_s == ran.outcome.seen_s:
            yield when_s, False


def due_rows(strike: Strike) -> int:
    """Rows of which one must see a strike."""
    rows = 0
    for sight in strike.trouble.sights:
        if strike.phase in sight.phases:
            rows |= sight.rows
    return rows
