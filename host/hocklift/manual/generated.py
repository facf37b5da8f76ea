"""The pages and pictures of the manual that are made from the code's own tables.

To write all of them anew, and the examples of all pages: python -m hocklift.manual
"""

import argparse
import json
from collections.abc import Callable, Iterable

from legsim.rig import Rig
from legsim.simboard.page import BOARDS, board_page, pin_table
from legsim.tables import FAULTS, STAGES, Fault
from legsim.wing.rig import WingRig
from legsim.wing.tables import WING_FAULTS

from hocklift import schemas
from hocklift.checking.steps import SET_UP, STEPS
from hocklift.cli import COMMANDS, EXIT_CODES, SHELLS, Command
from hocklift.manual.alone import standing_alone
from hocklift.manual.wiring import wiring_svg
from hocklift.pages.drawing import drawn
from hocklift.pages.size_pictures import PLANS
from hocklift.rigfile.file import line_at, range_words
from hocklift.rigfile.keys import KEYS, WING_KEYS, AnyRig, Key
from hocklift.safety.page import safety_page, table
from hocklift.sizing.result import size
from hocklift.sizing.sources import sources_page


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def faults_page() -> str:
    """Each fault as a person meets it: its words, what it did, what to do."""
    parts = [
        "# Faults and remedies\n",
        "Each fault as the board tells it. Every command that shows a fault shows these words."
        " Limits, times and phases: [Hazards and protections](safety.md#faults).\n",
    ]
    parts += [line for fault in FAULTS for line in _fault("##", fault, "foot")]
    parts += [
        "## Faults of wings\n",
        "A wing has the faults above that it can have; here are those that only wings have, or that"
        " are told or acted on otherwise where the joint is a wing.\n",
    ]
    legs = [_fault("###", fault, "wing") for fault in FAULTS]
    wings = [_fault("###", fault, "wing") for fault in WING_FAULTS]
    parts += [line for lines in wings if lines not in legs for line in lines]
    return "\n".join(parts)


def _fault(level: str, fault: Fault, let_down: str) -> list[str]:
    action = fault.action_on(let_down)
    return [
        f"{level} {fault.name[0].upper()}{fault.name[1:]}\n",
        f"{fault.text}\n",
        f"- What the board does: {action}; it holds {fault.latch_words}.",
        f"- What is watched: {fault.watched}.",
        f"- What to do: {fault.remedy}\n",
    ]


def commands_page() -> str:
    """Every command with its arguments, and how a command ends."""
    rows = [(str(code), words) for code, words in EXIT_CODES]
    parts = [
        "# Commands\n",
        "`hocklift COMMAND --help` says the same. An argument in brackets may be left out.\n",
        *(_command(command) for command in COMMANDS),
        "## How a command ends\n",
        *table(("code", "meaning"), rows),
        "## The tab key\n",
        "A shell can complete commands, options and files. Once:\n",
        *(f"- {shell}: {where}" for shell, where in SHELLS.items()),
        "\nFrom the next shell on, `hocklift reh` and the tab key make `hocklift rehearse`.\n",
    ]
    return "\n".join(parts)


def _command(command: Command) -> str:
    parser = argparse.ArgumentParser(prog=f"hocklift {command.name}", add_help=False)
    command.add_arguments(parser)
    rows = []
    for action in parser._actions:
        words = ", ".join(action.option_strings) or str(action.metavar)
        if action.option_strings and action.nargs != 0:
            words += f" {action.metavar}"
        if action.nargs == "?":
            words = f"[{words}]"
        told = (action.help or "") % {"default": action.default}
        rows.append((f"`{_cell(words)}`", _cell(told)))
    lines = [f"## {command.name}\n", f"{command.help[0].upper()}{command.help[1:]}.\n"]
    if rows:
        lines += table(("argument", ""), rows)
    return "\n".join(lines)


def rig_keys_page() -> str:
    """Every key of a rig file by its section, with the demo rig's line, range and meaning."""
    parts = [
        "# Rig keys\n",
        "Every key of a rig file, as `hocklift new` writes it for the demo rig, the range that is"
        " accepted, and what it means. Any unit that converts will do.\n",
    ]
    for section, keys in KEYS.items():
        parts += _section(f"## {section}\n", Rig(), keys.values())
    parts += [
        "## A rig file of wings\n",
        "A file with a section `[wing]` is of wings; it has no section"
        f" {', '.join(f'`{section}`' for section in KEYS if section not in WING_KEYS)}. Of the"
        " others, here are the keys that only wings have, or that mean, take or have something else"
        " in the demo rig's wings.\n",
    ]
    for section, keys in WING_KEYS.items():
        legs = KEYS.get(section, {})
        own = [key for name, key in keys.items() if key != legs.get(name)]
        if own:
            parts += _section(f"### {section}, of wings\n", WingRig(), own)
    return "\n".join(parts)


def _section(heading: str, rig: AnyRig, keys: Iterable[Key]) -> list[str]:
    section = next(iter(keys)).section
    doc = (type(getattr(rig, section)).__doc__ or section).splitlines()[0]
    rows = [
        (f"`{line_at(rig, key.path)}`", _cell(range_words(key)), _cell(key.meaning)) for key in keys
    ]
    return [heading, f"{doc}\n", *table(("line", "range", "meaning"), rows)]


def bench_steps_page() -> str:
    """Every step of `hocklift check` by stage: whether a motor may turn, and its remedy."""
    parts = [
        "# Bench steps\n",
        "What `hocklift check` does, in order. A stage opens on the board only when every step"
        " before has passed. Steps of a leg are done for the left one, then for the right one.\n",
    ]
    meanings = {stage.name: stage.meaning for stage in STAGES}
    for stage, (set_up, _) in SET_UP.items():
        rows = {
            step.name.removesuffix(", left"): (step.moves, step.remedy)
            for step in STEPS
            if step.stage == stage and not step.name.endswith(", right")
        }
        parts += [
            f"## Stage {stage}\n",
            f"For: {meanings[stage]}. Before it: {set_up}\n",
            *table(
                ("step", "may a motor turn", "if it fails"),
                [(name, "yes" if moves else "no", _cell(do)) for name, (moves, do) in rows.items()],
            ),
        ]
    return "\n".join(parts)


def json_page() -> str:
    """Every document that `--json` prints, field by field, from its schema."""
    parts = [
        "# What `--json` prints\n",
        "Every command that prints figures prints them for programs, too, with `--json`: one"
        " document, and nothing else, on its standard output; words for a person go to its standard"
        " error then. Exit codes stay [as they are](commands.md#how-a-command-ends).\n",
        "Each document says its name and version under `schema`. The number goes up when a field"
        " goes away, or changes its name, unit or meaning; a new field alone leaves it. What is"
        " infinite or unknown is null, for JSON has neither.\n",
        "For each there is a JSON Schema (draft 2020-12), a file to check documents with, here and"
        " in the installed package `hocklift.schemas`; under `unit` it has each number's unit. A"
        " field's place is written as in `checks[].margin`, of each entry of a list; `*` stands for"
        " a name.\n",
    ]
    for name in schemas.names():
        schema = json.loads(schemas.text(name))
        rows = [
            (f"`{field.path}`", _cell(field.kind), field.unit, _cell(field.meaning))
            for field in schemas.fields(name)
        ]
        parts += [
            f"## {name.replace('-', ' ')}\n",
            f"{schema['description']}. As a file: [{name}.json]({name}.json)\n",
            *table(("field", "holds", "unit", "meaning"), rows),
        ]
    return "\n".join(parts)


PAGES: dict[str, Callable[[], str]] = {
    "bench-steps.md": bench_steps_page,
    "board.md": board_page,
    "commands.md": commands_page,
    "faults.md": faults_page,
    "json.md": json_page,
    "rig-keys.md": rig_keys_page,
    "safety.md": safety_page,
    "sources.md": sources_page,
}


def pictures() -> Iterable[tuple[str, str]]:
    """Names and SVG texts of all pictures: a wiring diagram a board, and the demo rig sized."""
    for title, pins in BOARDS:
        name = pins.removeprefix("legboard/pins_").removesuffix(".py")
        yield f"wiring-{name}.svg", standing_alone(wiring_svg(title, pin_table(pins)))
    for picture, name in zip(drawn(PLANS, size(Rig(), "demo")), SIZE_PICTURES, strict=True):
        yield f"{name}.svg", standing_alone(picture.svg)


# In the order of the plans of size's page.
SIZE_PICTURES = ("size-load-path", "size-leg", "size-forces", "size-motor")
