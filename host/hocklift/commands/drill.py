"""`hocklift drill`: put every fault into the simulated rig; does it stay safe?"""

import argparse
from dataclasses import asdict
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

from legsim.drill import LIMITS
from legsim.tables import fault_names
from legsim.wing.rig import WingRig
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.drilling import (
    COLUMNS,
    NO_PROOF,
    SAFE_MEANS,
    Campaign,
    Ran,
    bounds,
    drill,
    row_summaries,
    summaries,
)
from hocklift.rigfile.file import any_rig_or_demo

SCHEMA = "hocklift drill 1"
_MOST_SHOWN = 10
_TABLE_WIDTH = 80


def run(args: argparse.Namespace) -> int:
    """Drill, print, and write the page when asked; 0 when every case was tried and safe, else 1."""
    check_out(args)
    rig, rig_name = any_rig_or_demo(args.rig)
    if isinstance(rig, WingRig):
        from hocklift.commands.wing_drill import run as run_wings

        return run_wings(rig, rig_name, args)
    campaign = drill(rig, rig_name, args.runs, args.seed, Console(stderr=True))
    deliver(args, campaign, show=print_campaign, as_json=as_json, write_page=_write_page)
    return 0 if campaign.met else 1


def _write_page(campaign: Campaign, folder: Path) -> Path:
    from hocklift.pages.drill_page import write_page  # drawing is slow to import

    return write_page(campaign, folder)


def print_campaign(campaign: Campaign, console: Console) -> None:
    """Print the table by trouble, what is unavoidable, the worst cases and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Drill of {campaign.rig_name}: {campaign.words}\n")
    # A narrower terminal may wrap the lines of the table; it must not lose parts of them.
    console.width = max(console.width, _TABLE_WIDTH)
    console.print(_table(campaign))
    say(f"\n{SAFE_MEANS}")
    say(f"\n{campaign.beside_words}")
    unseen = [row.fault.name for row in row_summaries(campaign) if not row.cases]
    if unseen:
        say(f"\nRows of the fault table that saw nothing in this drill: {', '.join(unseen)}.")
    say("\nWhat no controller can keep from happening, and how bad it was:")
    for bound in bounds(campaign):
        say(f"- {bound.who}: {bound.text}, {bound.words}; {bound.reason}")
    if campaign.nearest:
        say("\nThe random cases that came nearest to a limit (1 is at it); to run one again,")
        say("take its seed with --runs 1:")
        for ran in campaign.nearest:
            say(f"- {ran.nearness:.2f}, seed {ran.case.seed}: {ran.words}; {ran.nearest_words}")
    if campaign.unsafe:
        say("\nUnsafe:", style="bold red")
        for ran in campaign.unsafe[:_MOST_SHOWN]:
            say(f"- {_case_words(ran)}")
        if len(campaign.unsafe) > _MOST_SHOWN:
            say(f"- and {len(campaign.unsafe) - _MOST_SHOWN} more: --json has them all")
    say(f"\n{NO_PROOF}")
    say(f"\n{campaign.verdict}", style="bold green" if campaign.met else "bold red")


def _case_words(ran: Ran) -> str:
    why = "; ".join(one.words for one in ran.failures)
    return f"seed {ran.case.seed}: {ran.words}: {why} (seen: {ran.seen_words})"


def _table(campaign: Campaign) -> Table:
    """One line a trouble, under the name of its family."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("trouble", no_wrap=True, vertical="bottom")
    for heading, _ in COLUMNS:
        table.add_column(heading, no_wrap=True, justify="right", vertical="bottom")
    for family, rows in groupby(summaries(campaign), lambda row: row.trouble.family):
        table.add_row(family, style="bold")
        for row in rows:
            figures = [figure(row) for _, figure in COLUMNS]
            table.add_row(f"  {row.trouble.name}", *figures, style="red" if row.unsafe else "")
    return table


def as_json(campaign: Campaign) -> dict[str, Any]:
    """Every case in figures; a time that never came is null."""
    return {
        "schema": SCHEMA,
        "rig": campaign.rig_name,
        "seed": campaign.seed,
        "met": campaign.met,
        "verdict": campaign.verdict,
        "limits": {name: limit._asdict() for name, limit in LIMITS.items()},
        "troubles": [
            {**asdict(row), "trouble": row.trouble.name, "family": row.trouble.family}
            for row in summaries(campaign)
        ],
        "rows": [
            {
                "row": row.fault.name,
                "cases": row.cases,
                "fastest_s": row.fastest_s,
                "slowest_s": row.slowest_s,
            }
            for row in row_summaries(campaign)
        ],
        "unavoidable": [
            {**asdict(bound), "text": bound.text, "unit": LIMITS[bound.measure].unit}
            for bound in bounds(campaign)
        ],
        "table": [_ran_json(ran) for ran in campaign.table],
        "random": [_ran_json(ran) for ran in campaign.random],
    }


def _ran_json(ran: Ran) -> dict[str, Any]:
    outcome = asdict(ran.outcome)
    del outcome["fault_bits"], outcome["rows_seen_s"]
    rows = {name: s for bit, s in ran.outcome.rows_seen_s.items() for name in fault_names(bit)}
    return {
        "case": ran.words,
        "seed": ran.case.seed,
        "safe": not ran.failures,
        "failures": [one.words for one in ran.failures],
        "rows_seen_s": rows,
        **outcome,
    }
