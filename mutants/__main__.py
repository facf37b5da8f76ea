"""Change the core's safety files in every small way, and count how many changes a test notices.

Run `python -m mutants` for all, or name files: `python -m mutants watch.py`. It takes long; broken
off, it goes on from where it was. It ends with 1 where too few are noticed, or where survivors.toml
gives no reason for one that is not.
"""

import argparse
import multiprocessing
import sys
import tempfile
import time
from pathlib import Path

from mutants.kept import Kept
from mutants.making import Mutant, mutants_of
from mutants.plan import FILES, LEAST_PERCENT, RULES, TABLES, TOP
from mutants.report import report
from mutants.trying import NO_PROGRAM, prepare, try_afresh, try_in_place

KEPT = TOP / ".mutants.jsonl"
# Quick files, one of code and one of tables, and every so many of their mutants.
SMOKE = ("limits.py", "wing_phases.py")
SMOKE_EVERY = 60


def main() -> int:
    """Try what has not been tried, and report."""
    parser = argparse.ArgumentParser(prog="python -m mutants", description=__doc__)
    parser.add_argument("files", nargs="*", metavar="FILE", help="only of these files of the core")
    parser.add_argument("--jobs", type=int, default=1, help="how many at once")
    parser.add_argument("--smoke", action="store_true", help="a handful of all, to see it work")
    asked = parser.parse_args()
    unknown = set(asked.files) - set(FILES)
    if unknown:
        parser.error(f"{', '.join(sorted(unknown))}: none of {', '.join(FILES)}")
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        if asked.smoke:
            mutants = [mutant for file in SMOKE for mutant in mutants_of(file)][::SMOKE_EVERY]
            kept = Kept(Path(folder) / "kept")
        else:
            mutants = [mutant for file in asked.files or FILES for mutant in mutants_of(file)]
            kept = Kept(KEPT)
        left = [mutant for mutant in mutants if kept.get(mutant) is None]
        print(f"{len(mutants)} mutants, {len(left)} of them to be tried", flush=True)
        crew = [
            multiprocessing.Process(target=try_all, args=(left[i :: asked.jobs], kept))
            for i in range(asked.jobs)
        ]
        for worker in crew:
            worker.start()
        for worker in crew:
            worker.join()
        kept.read()
    print(f"{time.monotonic() - start:.0f} s")
    # A handful says nothing of the share.
    return report(mutants, kept, 0.0 if asked.smoke else LEAST_PERCENT)


def try_all(mutants: list[Mutant], kept: Kept) -> None:
    """Try mutants, and keep each outcome at once."""
    prepare()
    for file, tests in FILES.items():
        mine = [mutant for mutant in mutants if mutant.file == file]
        for mutant in mine:
            if not mutant.is_program:
                kept.put(mutant, NO_PROGRAM)
        mine = [mutant for mutant in mine if mutant.is_program]
        try_in_place(tests, [m for m in mine if is_quick(m)], kept.put_killed)
        try_afresh(tests, [m for m in mine if not is_quick(m)], kept.put_killed)
        kept.read()
        try_afresh(RULES, [m for m in mine if kept.get(m) is None], kept.put)


def is_quick(mutant: Mutant) -> bool:
    """Whether the code of a function is all that changes."""
    return bool(mutant.piece.function) and mutant.file not in TABLES


if __name__ == "__main__":
    sys.exit(main())
