"""`hocklift drill` of a rig with wings: put every fault into it; does it stay safe?"""

import argparse
import csv
import io
from dataclasses import asdict
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

from legsim.tables import fault_names
from legsim.wing.drill import WING_LIMITS
from legsim.wing.rig import WingRig
from legsim.wing.tables import WING_FAULTS
from rich.console import Console
from rich.table import Table

from hocklift.commands.output import deliver
from hocklift.drilling import words_or_dash
from hocklift.files import write_atomically
from hocklift.wing_drilling import WingCampaign, WingRan, drill_wings

SCHEMA = "hocklift drill wings 1"
CASES = "drill.csv"
_MOST_SHOWN = 10
_TABLE_WIDTH = 80
# (heading, one trouble's figure of the cases in which it struck)
_COLUMNS: tuple[tuple[str, Any], ...] = (
    ("slowest\nto be\nsafe", lambda rans: _worst(rans, "safe_s", "s", 2)),
    ("fastest\ntip", lambda rans: _worst(rans, "tip_mps", "m/s", 1)),
    ("past a\nhard stop", lambda rans: _worst(rans, "past_stop_deg", "°", 1)),
    ("most in\nrope", lambda rans: _worst(rans, "tension_peak_N", "N", 0)),
    ("ended", lambda rans: "unsafe" if any(ran.failures for ran in rans) else "safe"),
)
_SAFE_MEANS = (
    "Safe is: power off, or the fault seen and both wings hanging or being brought to hang."
)


def run(rig: WingRig, rig_name: str, args: argparse.Namespace) -> int:
    """Drill, print, and write when asked; 0 when every case was tried and safe, else 1."""
    campaign = drill_wings(rig, rig_name, args.runs, args.seed, Console(stderr=True))
    deliver(args, campaign, show=print_campaign, as_json=as_json, write_page=write_cases)
    return 0 if campaign.met else 1


def _worst(rans: list[WingRan], measure: str, unit: str, digits: int) -> str:
    """The largest figure that came; a dash where none did, as with a time that never came."""
    found = [getattr(ran.outcome, measure) for ran in rans if ran.outcome.struck]
    most = max((one for one in found if one < float("inf")), default=None)
    return words_or_dash(most, unit, digits)


def print_campaign(campaign: WingCampaign, console: Console) -> None:
    """Print the table by trouble, what is unavoidable, what ended unsafe, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Drill of {campaign.rig_name}: {campaign.words}\n")
    # A narrower terminal may wrap the lines of the table; it must not lose parts of them.
    console.width = max(console.width, _TABLE_WIDTH)
    console.print(_table(campaign))
    say(f"\n{_SAFE_MEANS}")
    say("\nWhat no controller can keep from happening, with its bound:")
    for trouble in dict.fromkeys(ran.case.strikes[0].trouble for ran in campaign.table):
        for measure, bound, reason in trouble.spared:
            limit = WING_LIMITS[measure]
            say(f"- {trouble.name}: {limit.text}, at most {bound:g} {limit.unit}; {reason}")
    if campaign.unsafe:
        say("\nUnsafe:", style="bold red")
        for ran in campaign.unsafe[:_MOST_SHOWN]:
            why = "; ".join(ran.failures)
            say(f"- seed {ran.case.seed}: {ran.words}: {why} (seen: {ran.seen_words})")
        if len(campaign.unsafe) > _MOST_SHOWN:
            say(f"- and {len(campaign.unsafe) - _MOST_SHOWN} more: --json has them all")
    say(f"\n{campaign.verdict}", style="bold green" if campaign.met else "bold red")


def _table(campaign: WingCampaign) -> Table:
    """One line a trouble, under the name of its family."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("trouble", no_wrap=True, vertical="bottom")
    for heading, _ in _COLUMNS:
        table.add_column(heading, no_wrap=True, justify="right", vertical="bottom")
    by_trouble = groupby(campaign.table, lambda ran: ran.case.strikes[0].trouble)
    family = ""
    for trouble, found in by_trouble:
        rans = list(found)
        if trouble.family != family:
            family = trouble.family
            table.add_row(family, style="bold")
        style = "red" if any(ran.failures for ran in rans) else ""
        table.add_row(f"  {trouble.name}", *(of(rans) for _, of in _COLUMNS), style=style)
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
        "table": [_ran_json(ran) for ran in campaign.table],
        "random": [_ran_json(ran) for ran in campaign.random],
    }


def _ran_json(ran: WingRan) -> dict[str, Any]:
    outcome = asdict(ran.outcome)
    del outcome["fault_bits"], outcome["rows_seen_s"]
    rows = {
        name: s
        for bit, s in ran.outcome.rows_seen_s.items()
        for name in fault_names(bit, WING_FAULTS)
    }
    return {
        "case": ran.words,
        "seed": ran.case.seed,
        "safe": not ran.failures,
        "failures": list(ran.failures),
        "rows_seen_s": rows,
        **outcome,
    }


def write_cases(campaign: WingCampaign, folder: Path) -> Path:
    """Write every figure of every case into `folder`; returns the file's path."""
    rows = [_ran_json(ran) for ran in (*campaign.table, *campaign.random)]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        row["failures"] = "; ".join(row["failures"])
        row["rows_seen_s"] = "; ".join(f"{name} {s:.3f}" for name, s in row["rows_seen_s"].items())
        writer.writerow(row)
    write_atomically(folder / CASES, text.getvalue())
    return folder / CASES
