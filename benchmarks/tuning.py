"""Tune from poor gains, and set the result beside textbook rules, on builds that nobody has seen.

Run `python -m benchmarks.tuning`; with `--smoke` all of it runs, but small. The rules' gains are
tried twice. First with all other keys as the tuning has left them: as hard a rival as can be, and
one that the search has tried itself. Then, "demo", in the demo rig, whose other keys were chosen by
hand: what a person has who follows the rule.
"""

import argparse
import os
from time import perf_counter

from hocklift.loops.first import first_gains
from hocklift.loops.margins import rig_ultimate
from hocklift.tuning.kinds import WALK_S
from hocklift.tuning.score import Ran
from hocklift.tuning.search import ENDS, search
from hocklift.tuning.tuning import search_seeds, unseen_seeds
from hocklift.tuning.variables import tuned
from hocklift.tuning.walks import Crew, Task
from legsim.figures import WANTS
from legsim.rig import Rig
from rich.console import Console
from rich.table import Table

# Slow, weak and damped: of a hundred builds none meets its wants with them.
POOR = tuned(
    Rig(),
    {
        "control.kp": 0.5,
        "control.ki": 0.2,
        "control.kd": 0.2,
        "control.integral": 0.05,
        "control.lift_speed": 0.5,
        "control.lower_speed": 0.3,
        "control.accel": 2.0,
        "control.lag": 0.02,
    },
)
SHOWN = ("clearance", "time to lift", "time to lower", "no fault")
AIM_SHARE, AIM_S = 0.99, 180
SEED = 1


def main() -> None:
    """Tune, compare, and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.tuning", description=__doc__)
    parser.add_argument("--smoke", action="store_true", help="run all of it, but small")
    smoke = parser.parse_args().smoke
    rigs, budget, unseen = (4, 24, 12) if smoke else (64, 400, 1000)
    console = Console()
    start = perf_counter()
    for best in search(POOR, search_seeds(SEED, ENDS * rigs), budget, SEED, Crew(WALK_S, -1)):
        if not smoke:
            console.print(
                f"{perf_counter() - start:6.1f} s  {best.tried:4} tried,"
                f" {best.met} of {len(best.fleet)} builds meet every want, score {best.score:.3f}",
                highlight=False,
            )
    took_s = perf_counter() - start
    found = tuned(POOR, best.values)
    sets = {"before": POOR, "tuned": found}
    for first in first_gains(rig_ultimate(found)):
        sets[first.rule.name] = first.rig(found)
    for first in first_gains(rig_ultimate(Rig())):
        sets[f"{first.rule.name}, demo"] = first.rig(Rig())
    seeds = unseen_seeds(SEED, unseen)
    fleets = Crew(WALK_S, -1)([Task(rig, seeds) for rig in sets.values()])
    console.print(_table(dict(zip(sets, fleets, strict=True))))
    console.print(
        f"Search: {best.tried} sets of gains on {len(best.fleet)} builds in {took_s:.0f} s on"
        f" {os.cpu_count()} cores (aim {AIM_S} s); {100 * _share(fleets[1]):.1f} % of {unseen}"
        f" unseen builds meet every want (aim {100 * AIM_SHARE:.0f} %).",
        highlight=False,
    )


def _share(fleet: list[Ran]) -> float:
    return sum(ran.met for ran in fleet) / len(fleet)


def _table(fleets: dict[str, list[Ran]]) -> Table:
    """One row a set of gains: the share that meets every want, and the worst build for each."""
    table = Table(box=None, title="Missed in the worst build, % of what is asked; less than 0: met")
    table.add_column("gains")
    table.add_column("meet every want", justify="right")
    for name in SHOWN:
        table.add_column(name, justify="right")
    for name, fleet in fleets.items():
        worst = [max(ran.missed[_index(want)] for ran in fleet) for want in SHOWN]
        table.add_row(
            name,
            f"{100 * _share(fleet):.1f} %",
            *("never" if one == float("inf") else f"{100 * one:.1f}" for one in worst),
        )
    return table


def _index(name: str) -> int:
    return next(i for i, want in enumerate(WANTS) if want.name == name)


if __name__ == "__main__":
    main()
