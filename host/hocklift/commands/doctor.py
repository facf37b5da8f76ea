"""`hocklift doctor`: what is installed, which ports are seen, what is missing and how to get it."""

import argparse
from dataclasses import asdict
from functools import partial
from typing import Any

from rich.console import Console
from rich.table import Table

from hocklift.commands.output import print_json
from hocklift.doctoring import BAD, GOOD, Finding, findings

SCHEMA = "hocklift doctor 1"


def run(args: argparse.Namespace) -> int:
    """Look and tell; 1 where something that every command needs is wrong, else 0."""
    found = findings()
    if args.json:
        print_json(as_json(found))
    else:
        show(found, Console())
    return int(any(each.state == BAD for each in found))


def show(found: list[Finding], console: Console) -> None:
    """One line a finding under its topic, then what to do."""
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    topic = ""
    for each in found:
        if each.topic != topic:
            table.add_row(each.topic, style="bold")
            topic = each.topic
        state = "" if each.state == GOOD else each.state
        table.add_row(f"  {each.what}", each.found, state)
    console.print(table)
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    if advice := [each for each in found if each.advice]:
        say("\nWhat to do:")
        for words in dict.fromkeys(f"- {each.what}: {each.advice}" for each in advice):
            say(words)
    wrong = sum(each.state == BAD for each in found)
    say("\nNothing that every command needs is missing." if not wrong else f"\n{wrong} wrong.")


def as_json(found: list[Finding]) -> dict[str, Any]:
    """All findings."""
    return {
        "schema": SCHEMA,
        "met": all(each.state != BAD for each in found),
        "findings": [asdict(each) for each in found],
    }
