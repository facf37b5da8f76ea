"""`hocklift drill` of a rig with wings: put every fault into it; does it stay safe?"""

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from legsim.wing.drill import WING_LIMITS
from legsim.wing.rig import WingRig
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import deliver
from hocklift.drilling import NO_PROOF
from hocklift.wing_drill_rows import (
    WING_COLUMNS,
    WING_SAFE_MEANS,
    by_trouble,
    figures_of,
    wing_bounds,
    wing_sights,
)
from hocklift.wing_drilling import WingCampaign, drill_wings

SCHEMA = "hocklift drill wings 1"
_MOST_SHOWN = 10
_TABLE_WIDTH = 80


def run(rig: WingRig, rig_name: str, args: argparse.Namespace) -> int:
    """Drill, print, and write when asked; 0 when every case was tried and safe, else 1."""
    campaign = drill_wings(rig, rig_name, args.runs, args.seed, Console(stderr=True))
    deliver(args, campaign, show=print_campaign, as_json=as_json, write_page=_write_page)
    return 0 if campaign.met else 1


def _write_page(campaign: WingCampaign, folder: Path) -> Path:
    from hocklift.pages.wing_drill_page import write_page  # drawing is slow to import

    return write_page(campaign, folder)


def print_campaign(campaign: WingCampaign, console: Console) -> None:
    """Print the table by trouble, what is unavoidable, what ended unsafe, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Drill of {campaign.rig_name}: {campaign.words}\n")
    # A narrower terminal may wrap the lines of the table; it must not lose parts of them.
    console.width = max(console.width, _TABLE_WIDTH)
    console.print(_table(campaign))
    say(f"\n{WING_SAFE_MEANS}")
    unseen = [fault.name for fault, cases, _ in wing_sights(campaign) if not cases]
    if unseen:
        say(f"\nRows of the fault table that saw nothing in this drill: {', '.join(unseen)}.")
    say("\nWhat no controller can keep from happening, and how bad it was:")
    for bound in wing_bounds(campaign):
        say(f"- {bound.who}: {bound.text}, {bound.words}; {bound.reason}")
    if campaign.nearest:
        say("\nThe random cases that came nearest to a limit (1 is at it); to run one again,")
        say("take its seed with --runs 1:")
        for ran in campaign.nearest:
            say(f"- {ran.nearest_words}")
    if campaign.unsafe:
        say("\nUnsafe:", style="bold red")
        for ran in campaign.unsafe[:_MOST_SHOWN]:
            why = "; ".join(ran.failures)
            say(f"- seed {ran.case.seed}: {ran.words}: {why} (seen: {ran.seen_words})")
        if len(campaign.unsafe) > _MOST_SHOWN:
            say(f"- and {len(campaign.unsafe) - _MOST_SHOWN} more: --json has them all")
    say(f"\n{NO_PROOF}")
    say(f"\n{campaign.verdict}", style="bold green" if campaign.met else "bold red")


def _table(campaign: WingCampaign) -> Table:
    """One line a trouble, under the name of its family."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("trouble", no_wrap=True, vertical="bottom")
    for heading, _ in WING_COLUMNS:
        table.add_column(heading, no_wrap=True, justify="right", vertical="bottom")
    family = ""
    for trouble, rans in by_trouble(campaign):
        if trouble.family != family:
            family = trouble.family
            table.add_row(family, style="bold")
        style = "red" if any(ran.failures for ran in rans) else ""
        table.add_row(f"  {trouble.name}", *(of(rans) for _, of in WING_COLUMNS), style=style)
    return table


def as_json(campaign: WingCampaign) -> dict[str, Any]:
    """Every case in figures; a time that never came is null."""
    return {
        "schema": SCHEMA,
        "rig": campaign.rig_name,
        "seed": campaign.seed,
        "met": campaign.met,
        "verdict": campaign.verdict,
        "limits": {name: limit._asdict() for name, limit in WING_LIMITS.items()},
        "table": [figures_of(ran) for ran in campaign.table],
        "random": [figures_of(ran) for ran in campaign.random],
    }
