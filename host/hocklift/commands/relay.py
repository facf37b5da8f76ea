"""`hocklift relay`: first gains without a model, from how a leg swings on its stand."""

import argparse
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from legsim.tables import STAGES
from rich.console import Console
from rich.table import Table

from hocklift.bench_check import caution, check_period
from hocklift.checking import settings
from hocklift.checking.asker import asker_of, say
from hocklift.checking.bench import Bench
from hocklift.checking.steps import SET_UP
from hocklift.commands.check import ready
from hocklift.commands.output import check_out, deliver
from hocklift.device import Device
from hocklift.loops.first import KEYS
from hocklift.loops.swung import GAIN_NOTES, LEG_HEADINGS, Relay, gain_cells, leg_cells
from hocklift.rigfile.file import rig_or_demo
from hocklift.swinging import check_stage, swing_both
from hocklift.transport import open_port

SCHEMA = "hocklift relay 1"


def run(args: argparse.Namespace) -> int:
    """Swing both legs, print gains; 0 when both swung regularly, 1 when not or nothing moved."""
    rig, rig_name = rig_or_demo(args.rig)
    check_out(args)
    console = Console(stderr=args.json)
    with Device(open_port(args.port, rig)) as device:
        asker = asker_of(device, console)
        hello = ready(device, rig, asker, console)
        bench = Bench(device, rig, asker, hello)
        check_period(bench)
        bench.words = settings.read(device)
        check_stage(bench)
        asker.wait(*SET_UP["stand"])
        swung = swing_both(bench) if caution(asker) else []
    relay = Relay(rig_name, swung)
    deliver(args, relay, show=show, as_json=as_json, write_page=_write_page)
    return 0 if relay.met else 1


def _write_page(relay: Relay, folder: Path) -> Path:
    from hocklift.pages.relay_page import write_page  # drawing is slow to import

    return write_page(relay, folder)


def show(relay: Relay, console: Console) -> None:
    """Print how each leg swung, the gains by rule, and what speaks against them."""
    tell = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    legs = Table(*LEG_HEADINGS, box=None, pad_edge=False)
    for one in relay.swung:
        legs.add_row(*leg_cells(one))
    if relay.swung:
        tell("")
        console.print(legs)
    for doubt in relay.doubts:
        say(console, f"\n{doubt}.")
    if relay.first:
        gains = Table("rule", *(key.name for key in KEYS), "", box=None)
        for first in relay.first:
            gains.add_row(first.rule.name, *gain_cells(first))
        tell("")
        console.print(gains)
        for line in GAIN_NOTES:
            say(console, f"\n{line}")
        say(console, "\nWhere the rules are from:")
        for source in dict.fromkeys(first.rule.source for first in relay.first):
            say(console, f"- {source}")
    tell(f"\n{relay.verdict}", style="bold green" if relay.met else "bold red")


def as_json(relay: Relay) -> dict[str, Any]:
    """The record of both legs, their figures and all gains, in SI units."""
    return {
        "schema": SCHEMA,
        "rig": relay.rig_name,
        "stage": STAGES[1].name,
        "met": relay.met,
        "verdict": relay.verdict,
        "doubts": relay.doubts,
        "ultimate": asdict(relay.ultimate) if relay.ultimate else None,
        "legs": [asdict(one) for one in relay.swung],
        "gains": [
            {
                "rule": first.rule.name,
                "source": first.rule.source,
                "wanted": asdict(first.gains),
                "values": {key.path: v for key, v in zip(KEYS, first.values, strict=True)},
                "share": first.share,
            }
            for first in relay.first
        ],
    }
