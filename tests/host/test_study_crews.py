"""A study's results are a matter of its rig and seeds: whoever does the work, killed or not."""

import io
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import psutil
import pytest
from hocklift.errors import CrewError
from hocklift.pages.study_page import BUILDS, builds_csv
from hocklift.studying.crews import Crew, _checked, cluster, cores
from hocklift.studying.jobs import Job, Ran, Walks
from hocklift.studying.study import Study, study
from hocklift.wearerfile import built_in_gait
from legsim.rig import Rig
from rich.console import Console

SECONDS = 8.0
RIGS = 300
# Long enough for the slowest machine to start its processes.
PATIENCE_S = 90.0
QUIET = Console(file=io.StringIO(), quiet=True)
COMMAND = ("study", "--rigs", str(RIGS), "--seconds", f"{SECONDS:g}")


def studied(crew: Crew, rigs: int = RIGS, batch_s: float = 10 * SECONDS) -> Study:
    return study(Rig(), "the built-in demo rig", rigs, 1, SECONDS, crew, QUIET, batch_s=batch_s)


@pytest.fixture(scope="module")
def alone() -> Study:
    """One process, everything in one piece."""
    return studied(cores(1), batch_s=RIGS * SECONDS)


@contextmanager
def process(*words: str | Path) -> Iterator[subprocess.Popen[str]]:
    """A process of this Python, ended in the end."""
    run = subprocess.Popen(
        [sys.executable, "-m", *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    with run:
        try:
            yield run
        finally:
            run.kill()


def wait_until(true: Callable[[], Any], run: subprocess.Popen[str] | None = None) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end
        assert run is None or run.poll() is None
        time.sleep(0.01)


@pytest.mark.parametrize("batch", [1, 7, 64])
def test_two_processes_and_any_cutting_give_the_same_to_the_bit(alone: Study, batch: int) -> None:
    assert studied(cores(2), 100, batch * SECONDS).ran == alone.ran[:100]


def lines_kept(folder: Path) -> int:
    return sum(path.read_bytes().count(b"\n") for path in folder.glob("builds-*.csv"))


@pytest.mark.skipif(sys.platform == "win32", reason="kills as POSIX systems do")
def test_a_study_killed_midway_goes_on_to_the_same_end(alone: Study, tmp_path: Path) -> None:
    with process("hocklift", *COMMAND, "--out", tmp_path) as run:
        wait_until(lambda: lines_kept(tmp_path) > 20, run)
        crew = psutil.Process(run.pid).children(recursive=True)
        run.kill()  # SIGKILL: it can do nothing about it
    for one in crew:
        one.kill()
    kept = lines_kept(tmp_path)
    assert 20 < kept < RIGS
    with process("hocklift", *COMMAND, "--out", tmp_path) as run:
        _, said = run.communicate(timeout=PATIENCE_S)
    assert "were finished before" in said
    assert (tmp_path / BUILDS).read_text(encoding="utf-8") == builds_csv(alone)


@pytest.mark.skipif(sys.platform == "win32", reason="kills as POSIX systems do")
def test_a_process_of_the_crew_that_is_killed_ends_the_study_in_words(tmp_path: Path) -> None:
    words = ("study", "--rigs", "100000", "--seconds", "20", "--out", tmp_path)
    with process("hocklift", *words) as run:
        wait_until(lambda: lines_kept(tmp_path) > 1, run)
        crew = psutil.Process(run.pid).children()
        workers = [one for one in crew if "loky.backend.popen" in " ".join(one.cmdline())]
        workers[0].kill()
        _, said = run.communicate(timeout=PATIENCE_S)
    assert run.returncode == 2
    assert "a process of the study was ended from outside" in said
    assert "Traceback" not in said


class Cluster:
    """A real Dask scheduler and its workers on this machine, each a process of its own."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        told = folder / "scheduler.json"
        here = ("--host", "127.0.0.1", "--no-dashboard", "--scheduler-file", told)
        stack.enter_context(process("dask", "scheduler", "--port", "0", *here))
        wait_until(lambda: told.exists() and told.read_text().endswith("}"))
        self.address = str(json.loads(told.read_text())["address"])
        self.workers: list[subprocess.Popen[str]] = []
        self._start = lambda: stack.enter_context(
            process(
                *("dask", "worker", "--no-nanny", "--nthreads", "1", *here),
                *("--local-directory", folder / str(len(self.workers))),
            )
        )

    def start_worker(self) -> None:
        """One more worker; it takes a moment to be there."""
        self.workers.append(self._start())

    def killing(self, after: int) -> Crew:
        """The cluster's crew, of which one worker is killed once so many batches are done."""

        def work(walks: Walks, batches: Iterable[Sequence[Job]]) -> Iterator[list[Ran]]:
            for i, rans in enumerate(cluster(self.address)(walks, batches)):
                if i == after:
                    assert self.workers[0].poll() is None
                    self.workers[0].kill()
                    self.workers[0].wait()
                yield rans

        return work


def test_a_cluster_of_which_a_worker_dies_midway_completes_to_the_same_end(
    alone: Study, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed import Client

    with ExitStack() as stack:
        dask = Cluster(tmp_path, stack)
        with monkeypatch.context() as patch, pytest.raises(CrewError, match="has no workers"):
            patch.setattr("hocklift.studying.crews._ANSWER_S", 1)
            studied(cluster(dask.address))
        dask.start_worker()
        dask.start_worker()
        with Client(dask.address) as client:
            client.wait_for_workers(2, timeout=PATIENCE_S)
        assert studied(dask.killing(after=5)).ran == alone.ran
        assert dask.workers[0].poll() is not None
        assert dask.workers[1].poll() is None


def test_a_worker_with_another_version_of_the_program_works_on_nothing() -> None:
    with pytest.raises(CrewError, match="another version of hocklift"):
        _checked("another", Walks(Rig(), SECONDS, built_in_gait()), [Job(1, 1)])
