"""`hocklift report`: a page of pictures, and the trace, of a recording."""

import argparse
from functools import partial

from rich.console import Console

from hocklift.commands.output import check_out
from hocklift.commands.replay import damage_words
from hocklift.errors import LogError
from hocklift.log import read_log
from hocklift.logfigures import figures_of


def run(args: argparse.Namespace) -> int:
    """Write page and traces into `args.out`; returns 0."""
    log = read_log(args.log)
    if not len(log.ticks):
        raise LogError(f"{log.path}: holds no tick; record for longer with `hocklift record`")
    check_out(args)
    from hocklift.pages.log_page import write_page  # drawing is slow to import

    figures = figures_of(log)
    page = write_page(figures, args.out, parquet=args.parquet)
    say = partial(Console().print, highlight=False, markup=False, soft_wrap=True)
    say(f"{log.path}: {figures.seconds:.1f} s, {len(log.ticks)} ticks")
    for words in damage_words(log):
        say(words, style="yellow")
    say(figures.verdict, style="bold green" if figures.clean else "bold red")
    say(f"Pictures: {page}")
    return 0
