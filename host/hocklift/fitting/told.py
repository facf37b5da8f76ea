"""A fit told in words and rows, for a terminal as for a page."""

from hocklift.fitting.fitting import Fit, Summed, Told, changed, shown, unit_of
from hocklift.fitting.numbers import GROUPS
from hocklift.rehearsal import ROWS
from hocklift.rigfile.units import in_unit

HEADINGS = ("number", "in the file", "found", "give or take", "")
# Of `rehearsal.ROWS`, what the gains are told by.
WALK_ROWS = ROWS[:8]
NOTES = (
    "Masses and lengths are taken as the file has them: weigh and measure them. A number is told"
    " where the recording narrows its tolerance clearly; give or take is one standard error.",
    "The simulator is not the rig: where a number surprises, look at that part before you believe"
    " it. Limits under [safety] were chosen for the file's rig: drill what is written"
    " (hocklift drill) before you flash it.",
)
CAUTION = (
    "Before a leg is drawn by hand, press the emergency stop, so that no motor can turn, and keep"
    " clear of where it swings."
)
WALK_HEADINGS = ("", "wanted", "file, left", "right", "found, left", "right")


def verdict(fit: Fit) -> str:
    """One line to act on."""
    told = sum(row.told for row in fit.rows)
    other = sum(changed(row) for row in fit.rows)
    words = f"{told} of {len(fit.rows)} numbers told, {other} of them other than in {fit.rig_name}."
    if not fit.unmet:
        return f"{words} Its gains meet every want on the rig as found."
    what, found, advice = fit.unmet[0]
    return (
        f"{words} Not yet with these gains, on the rig as found: {what}: {found}. Next: {advice}."
    )


def cells(row: Told | Summed) -> tuple[str, str, str, str]:
    """What a table shows of a row: in the file with its unit, found, standard error, a word."""
    word = "cannot tell" if not row.told else "differs" if changed(row) else "as in the file"
    was = in_unit(row.was, unit_of(row))
    return f"{was:.4g} {unit_of(row)}", *(shown(row) if row.told else ("", "")), word


def name_of(row: Told | Summed) -> str:
    """What a table calls it."""
    return row.number.name if isinstance(row, Told) else row.sum.name


def ordered(found: Fit) -> list[Told]:
    """All rows, group by group."""
    names = [group.name for group in GROUPS]
    return sorted(found.rows, key=lambda row: names.index(row.number.group))


def table_rows(found: Fit) -> list[tuple[str, ...]]:
    """Each number, then what several make together, as a table shows them."""
    rows: list[Told | Summed] = [*ordered(found), *found.sums]
    return [(name_of(row), *cells(row)) for row in rows]


def lacking_words(found: Fit) -> list[str]:
    """What there is too little of, and how to record it."""
    return [
        f"Too little of {one.name} ({found.found[one.kind]}, wanted {one.least}), which tells"
        f" {one.tells}. To record: {one.how}."
        for one in found.lacking
    ]


def walk_rows(found: Fit) -> list[tuple[str, ...]]:
    """A walk on the file's rig and on the rig as found: what, want, and both legs of each."""
    walks = (found.legs_before, found.legs_after)
    return [
        (what, wanted(found.rig), *(figure(leg) for legs in walks for leg in legs.values()))
        for what, figure, wanted in WALK_ROWS
    ]
