"""`hocklift study`: how many builds of a rig, each within its tolerances, meet every want?"""

import argparse
import shlex
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from hocklift.commands.output import check_out, deliver
from hocklift.errors import HockliftError
from hocklift.rigfile.file import rig_or_demo
from hocklift.studying.crews import cluster, cores
from hocklift.studying.sensitivity import WALKS, Effect
from hocklift.studying.study import (
    CONFIDENCE,
    WANTED,
    Share,
    Study,
    missed_words,
    study,
)
from hocklift.studying.words import (
    COMES_FROM,
    EFFECT_COLUMNS,
    EFFECTS_WORDS,
    SHARE_COLUMNS,
    effect_cells,
    share_rows,
)

SCHEMA = "hocklift study 1"
_LAST_SEED = 2**32 - 1
_MOST_EFFECTS = 10


def run(args: argparse.Namespace) -> int:
    """Study, print, and write the page when asked; 0 when 99 % meet every want, else 1."""
    rig, rig_name = rig_or_demo(args.rig)
    if args.seed + args.rigs - 1 > _LAST_SEED:
        raise HockliftError(
            f"--seed: the last of {args.rigs} builds would have the seed"
            f" {args.seed + args.rigs - 1}; seeds end with {_LAST_SEED}: begin with a lower one"
        )
    check_out(args)
    studied = study(
        rig,
        rig_name,
        args.rigs,
        args.seed,
        args.seconds,
        cluster(args.cluster) if args.cluster else cores(),
        Console(stderr=True),
        sensitivity_walks=WALKS if args.sensitivity else 0,
        folder=args.out,
    )
    deliver(
        args,
        studied,
        show=partial(print_study, rig_file=args.rig),
        as_json=as_json,
        write_page=_write_page,
    )
    return 0 if studied.met else 1


def _write_page(studied: Study, folder: Path) -> Path:
    from hocklift.pages.study_page import write_page  # drawing is slow to import

    return write_page(studied, folder)


def print_study(studied: Study, console: Console, rig_file: Path | None = None) -> None:
    """Print the shares, the worst builds, what matters most, and the verdict."""
    say = partial(console.print, highlight=False, markup=False, soft_wrap=True)
    say(f"Study of {studied.rig_name}: {studied.words}\n")
    # A narrower terminal may wrap the lines of the tables; it must not lose parts of them.
    console.width = max(console.width, 80)
    console.print(_table(SHARE_COLUMNS, share_rows(studied)))
    if studied.worst:
        say("\nThe worst builds; to walk the first again:")
        say(f"  {walk_again(studied, rig_file)}")
        for ran in studied.worst:
            say(f"- seed {ran.seed}: {missed_words(ran)}")
    if studied.effects:
        say(f"\n{EFFECTS_WORDS}\n")
        rows = map(effect_cells, studied.effects[:_MOST_EFFECTS])
        console.print(_table(EFFECT_COLUMNS, rows))
    say(f"\n{COMES_FROM}")
    say(f"\n{studied.verdict}", style="bold green" if studied.met else "bold red")


def walk_again(studied: Study, rig_file: Path | None) -> str:
    """The command that walks the worst build of a study again."""
    words = ["hocklift", "rehearse", *([] if rig_file is None else [str(rig_file)])]
    words += ["--built", str(studied.worst[0].seed)]
    if studied.seconds != 20:
        words += ["--seconds", f"{studied.seconds:g}"]
    return shlex.join(words)


def _table(columns: tuple[str, ...], rows: Any) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for i, heading in enumerate(columns):
        table.add_column(heading, no_wrap=True, justify="right" if i else "left", vertical="bottom")
    for row in rows:
        table.add_row(*row)
    return table


def as_json(studied: Study) -> dict[str, Any]:
    """Shares, the worst builds and effects; what never came is null."""
    return {
        "schema": SCHEMA,
        "rig": studied.rig_name,
        "rigs": len(studied.ran),
        "seed": studied.seed,
        "seconds": studied.seconds,
        "met": studied.met,
        "verdict": studied.verdict,
        "wanted": WANTED,
        "confidence": CONFIDENCE,
        "every_want": _share_json(studied.share),
        "wants": [
            {"want": want.name, **_share_json(share), "advice": want.advice}
            for want, share in studied.wants
        ],
        "worst": [
            {
                "seed": ran.seed,
                "missed": {
                    want.name: missed
                    for (want, _), missed in zip(studied.wants, ran.missed, strict=True)
                },
                "faults": list(ran.faults),
            }
            for ran in studied.worst
        ],
        "effects": [_effect_json(effect) for effect in studied.effects],
    }


def _share_json(share: Share) -> dict[str, Any]:
    return {"met": share.met, "of": share.of, "share": share.share, "interval": share[2:]}


def _effect_json(effect: Effect) -> dict[str, Any]:
    return {
        "tolerance": effect.tolerance.key,
        "reason": effect.tolerance.reason,
        "nearest_limit": effect.nearest,
        "nearest_limit_doubt": effect.doubt,
        "verdicts": effect.verdicts,
        "moves_most": effect.want.name,
    }
