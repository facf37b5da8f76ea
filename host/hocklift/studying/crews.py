"""Who does the work of a study: all cores of this machine, or the workers of a cluster.

A crew takes batches of jobs and gives back what came of each, in any order. A trial's result
is a matter of its job alone, so nobody can tell from the results who did the work: to the bit,
where all machines have processors of one kind and the same mathematics library.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import CancelledError
from functools import cache

from hocklift.errors import CrewError
from hocklift.studying.jobs import Job, Ran, Walks, run_batch

Crew = Callable[[Walks, Iterable[Sequence[Job]]], Iterator[list[Ran]]]

_ANSWER_S = 10
_IDLE_S = 10


def cores(count: int | None = None) -> Crew:
    """A process on each of `count` cores, or on each that there is."""

    def work(walks: Walks, batches: Iterable[Sequence[Job]]) -> Iterator[list[Ran]]:
        from joblib import Parallel, cpu_count, delayed
        from joblib.externals.loky.process_executor import TerminatedWorkerError

        crew = Parallel(
            count or cpu_count(),
            return_as="generator_unordered",
            batch_size=1,
            # Were this process killed, its crew would wait for more work so long.
            idle_worker_timeout=_IDLE_S,
        )
        try:
            yield from crew(delayed(run_batch)(walks, jobs) for jobs in batches)
        except TerminatedWorkerError as error:
            raise CrewError(
                "a process of the study was ended from outside, perhaps for want of memory; run"
                " the same command again (with --out, what is finished is kept)"
            ) from error

    return work


def cluster(address: str) -> Crew:
    """The workers behind a Dask scheduler, as in "tcp://10.0.0.5:8786".

    A worker may come, go, or die at any time, if at least one is there again in the end.
    """

    def work(walks: Walks, batches: Iterable[Sequence[Job]]) -> Iterator[list[Ran]]:
        try:
            import distributed
        except ImportError as error:
            raise CrewError(
                "--cluster needs Dask, which is not installed: pip install 'hocklift[study]'"
            ) from error
        try:
            client = distributed.Client(  # type: ignore[no-untyped-call]  # as it ships
                address, timeout=_ANSWER_S, set_as_default=False
            )
        except (OSError, ValueError) as error:
            raise CrewError(
                f"{address}: no Dask scheduler answers there; start one with `dask scheduler`, on"
                " each machine `dask worker ADDRESS`, and give its address, as in"
                " tcp://10.0.0.5:8786"
            ) from error
        with client:
            try:
                client.wait_for_workers(1, timeout=_ANSWER_S)
            except TimeoutError as error:
                raise CrewError(
                    f"{address}: this Dask scheduler has no workers; start one on each machine"
                    f" with `dask worker {address}`"
                ) from error
            program = _program()
            futures = [
                client.submit(_checked, program, walks, jobs, pure=False) for jobs in batches
            ]
            try:
                finished = distributed.as_completed(futures, loop=client.loop)  # type: ignore[no-untyped-call]
                for future in finished:
                    yield future.result()
                    future.release()
            except (OSError, CancelledError, distributed.KilledWorker) as error:
                raise CrewError(
                    f"{address}: the cluster lost its scheduler, or several workers over one piece"
                    " of work; run the same command again (with --out, what is finished is kept)"
                ) from error

    return work


@cache
def _program() -> str:
    from legsim.compiled import source_hash

    return source_hash()


def _checked(program: str, walks: Walks, jobs: Sequence[Job]) -> list[Ran]:
    """On a worker: work only where it is the same work."""
    if _program() != program:
        raise CrewError(
            f"a worker of the cluster has another version of hocklift ({_program()}, here"
            f" {program}): install the same on all machines"
        )
    return run_batch(walks, jobs)
