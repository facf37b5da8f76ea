"""A study that was cut off goes on where it was: nothing is lost, and nothing wrong is kept."""

import io
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import hocklift.studying.kept
import pytest
from hocklift.errors import OutputError
from hocklift.studying.crews import Crew, cores
from hocklift.studying.jobs import Job, Ran, Walks
from hocklift.studying.kept import Kept
from hocklift.studying.study import Study, study
from hocklift.wearerfile import built_in_gait
from hypothesis import given, settings
from hypothesis import strategies as st
from legsim.figures import WANTS
from legsim.perturb import TOLERANCES
from legsim.rig import Rig
from rich.console import Console

SECONDS = 6.0
DEMO = Rig()
WALKS = Walks(DEMO, SECONDS, built_in_gait())
missed = st.floats(allow_nan=False, allow_infinity=False) | st.just(inf)
rans = st.lists(
    st.builds(
        Ran,
        st.integers(0, 2**32 - 1),
        st.integers(0, 2**32 - 1),
        st.tuples(*[missed] * len(WANTS)),
        st.lists(st.sampled_from(["stall", "rope slack"]), unique=True).map(tuple),
    ),
    unique_by=lambda ran: ran.number,
    max_size=6,
)


def walked(seen: list[int]) -> Crew:
    """A crew that notes the numbers of its jobs."""

    def work(walks: Walks, batches: Iterable[Sequence[Job]]) -> Iterator[list[Ran]]:
        def noted() -> Iterator[Sequence[Job]]:
            for jobs in batches:
                seen.extend(job.number for job in jobs)
                yield jobs

        return cores(1)(walks, noted())

    return work


def studied(
    rigs: int, folder: Path, rig: Rig = DEMO, seed: int = 1, **how: Any
) -> tuple[Study, list[int], str]:
    """A study, the numbers that it walked, and what it said."""
    seen: list[int] = []
    said = io.StringIO()
    done = study(
        rig, "x", rigs, seed, SECONDS, walked(seen), Console(file=said), folder=folder, **how
    )
    return done, seen, said.getvalue()


@given(rans, st.data())
@settings(max_examples=60)
def test_a_file_cut_or_damaged_anywhere_gives_back_only_what_was_written(
    tmp_path_factory: pytest.TempPathFactory, done: list[Ran], data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("kept")
    with closing(Kept(folder, WALKS, "builds")) as kept:
        kept.add(done)
        path = kept.path
    whole = path.read_bytes()
    cut = data.draw(st.integers(0, len(whole)))
    path.write_bytes(whole[:cut])
    with closing(Kept(folder, WALKS, "builds")) as kept:
        assert kept.ran.items() <= {ran.number: ran for ran in done}.items()
        # All lines before the cut are there, and what is done again after it is, too.
        assert len(kept.ran) >= whole[:cut].count(b"\n") - 1
        kept.add([ran for ran in done if ran.number not in kept.ran])
    with closing(Kept(folder, WALKS, "builds")) as kept:
        assert kept.ran == {ran.number: ran for ran in done}
    if done:
        place = data.draw(st.integers(whole.index(b"\n") + 1, len(whole) - 2))
        damaged = bytearray(whole)
        damaged[place] ^= 1 << data.draw(st.integers(0, 7))
        path.write_bytes(damaged)
        with closing(Kept(folder, WALKS, "builds")) as kept:
            assert kept.ran.items() <= {ran.number: ran for ran in done}.items()


def test_finished_builds_are_not_walked_again_and_more_may_follow(tmp_path: Path) -> None:
    first, seen, said = studied(5, tmp_path)
    assert seen == [1, 2, 3, 4, 5]
    assert said == ""
    same, seen, said = studied(5, tmp_path)
    assert seen == []
    assert same == first
    assert "5 were finished before" in said
    more, seen, _ = studied(8, tmp_path, seed=3)
    assert seen == [6, 7, 8, 9, 10]
    assert more == studied(8, tmp_path / "elsewhere", seed=3)[0]


def test_the_trials_of_the_sensitivity_are_kept_apart(tmp_path: Path) -> None:
    first, seen, _ = studied(2, tmp_path, sensitivity_walks=2)
    assert len(seen) == 2 + 2 * (len(TOLERANCES) + 1)
    assert len(list(tmp_path.glob("sensitivity-*.csv"))) == 1
    again, seen, _ = studied(2, tmp_path, sensitivity_walks=2)
    assert seen == []
    assert again.effects == first.effects


def test_another_rig_begins_anew_says_so_and_harms_nothing(tmp_path: Path) -> None:
    first, *_ = studied(3, tmp_path)
    other = replace(Rig(), control=replace(Rig().control, kp_per_rad=1.0))
    _, seen, said = studied(3, tmp_path, other)
    assert seen == [1, 2, 3]
    assert "another rig" in said
    assert "begins anew" in said
    again, seen, _ = studied(3, tmp_path)
    assert (again, seen) == (first, [])


def test_another_version_of_the_program_begins_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studied(2, tmp_path)
    monkeypatch.setattr(hocklift.studying.kept, "source_hash", lambda: "another")
    assert studied(2, tmp_path)[1] == [1, 2]


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="cannot be written"):
        studied(1, tmp_path / "file")
