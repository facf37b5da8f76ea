"""Fit 50 hidden rigs, from a minute's recording of each, and tell how near each number came.

Run `python -m benchmarks.fitting`; with `--smoke` only two of them.
"""

import argparse
from collections.abc import Callable
from time import perf_counter
from typing import NamedTuple

import numpy as np
from hocklift.fitting.fitting import Fit, efficiency, fit, friction_Nm
from joblib import Parallel, delayed
from legsim.rig import Rig
from rich.console import Console
from rich.table import Table

from benchmarks.hidden import hidden_log, hidden_rig


class Figure(NamedTuple):
    """One figure of a rig, and how near the fit is to come to it: a share, or in SI."""

    name: str
    of: Callable[[Rig], float]
    within: float
    share: bool


FIGURES = (
    Figure("spring rate", lambda rig: rig.spring.rate_N_per_m, 0.03, True),
    Figure("spring preload", lambda rig: rig.spring.force_extended_N, 0.05, True),
    Figure("joint friction in a lift", friction_Nm, 0.15, True),
    Figure("dry friction alone", lambda rig: rig.mechanism.hinge_friction_Nm, 0.15, True),
    Figure("gear and rope efficiency", efficiency, 0.05, True),
    Figure("frame of the speed controller", lambda rig: rig.controller.frame_s, 0.004, False),
)


def off(figure: Figure, found: Rig, made: Rig) -> float:
    """How far a found rig is off."""
    error = figure.of(found) - figure.of(made)
    return error / figure.of(made) if figure.share else error


def fitted(seed: int) -> tuple[Rig, Fit, float]:
    """One hidden rig, its fit, and how long that took."""
    made = hidden_rig(Rig(), seed)
    log = hidden_log(Rig(), made, seed)
    start = perf_counter()
    found = fit(log, Rig(), "the demo rig", lambda words: None)
    return made, found, perf_counter() - start


def main() -> None:
    """Fit, and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.fitting", description=__doc__)
    parser.add_argument("--smoke", action="store_true", help="only two rigs")
    seeds = range(2 if parser.parse_args().smoke else 50)
    done = Parallel(n_jobs=-1)(delayed(fitted)(seed) for seed in seeds)
    table = Table("figure", "to be within", "rigs", "mean", "spread", "worst", box=None)
    for figure in FIGURES:
        errors = np.array([off(figure, found.fitted, made) for made, found, _ in done])
        words = (lambda x: f"{100 * x:.1f} %") if figure.share else (lambda x: f"{1e6 * x:.2f} us")
        worst = errors[np.argmax(np.abs(errors))]
        table.add_row(
            figure.name,
            words(figure.within),
            f"{np.count_nonzero(np.abs(errors) <= figure.within)} of {len(errors)}",
            *(words(float(x)) for x in (errors.mean(), errors.std(), worst)),
        )
    console = Console()
    console.print(table)
    _print_honesty(console, done)
    console.print(f"A fit took {np.median([seconds for *_, seconds in done]):.0f} s.")


def _print_honesty(console: Console, done: list[tuple[Rig, Fit, float]]) -> None:
    """How often a number that is told lies within two of its standard errors."""
    rows = [
        abs(row.value - float(row.number.key.of(made))) <= 2 * row.error
        for made, found, _ in done
        for row in found.rows
        if row.told and row.number.key is not None
    ]
    console.print(
        f"{len(rows)} numbers told; {100 * np.mean(rows):.1f} % lie within two standard errors."
    )


if __name__ == "__main__":
    main()
