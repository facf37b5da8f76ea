"""A mutant against its tests, in a process of its own, forked from one that has imported the rest.

There are two ways. In place: the tests have imported the true core, and the code of one function
is exchanged, which takes no time. Afresh: the tests import a copy of the core in which one file is
changed; so tables are tried, and all that has survived against the rules that read the sources.
Nothing of the checkout is touched, so anything may be edited meanwhile.
"""

import gc
import os
import resource
import shutil
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from mutants.making import Mutant
from mutants.plan import CORE, LEFT_OUT, MOST_S, TESTS, TOP

SURVIVED = "survived"
NO_PROGRAM = "is no program"
# Told of each mutant: what became of it, which is that it survived, or what killed it.
Note = Callable[[Mutant, str], None]
OPTIONS: tuple[str, ...] = ("-x", "-q", "-n0", "--noconftest", "-p", "no:cacheprovider")
OPTIONS += ("--deselect", f"tests/core/{LEFT_OUT}")


class TrueCoreFailsError(Exception):
    """A test fails on the core as it stands, so that it says nothing of a mutant."""


def forked(work: Callable[[], str], most_s: int = MOST_S) -> str:
    """What `work` returns in a process of its own; that it died, or did not end, where it did so.

    It must not change anything that the next one finds: imported modules, code of functions.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            gc.disable()
            # Of the processor, so that a busy computer kills nothing.
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s))
            os.write(writer, work().encode())
        finally:
            os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as pipe:
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    return said or ("the tests did not end" if os.WIFSIGNALED(status) else "the tests died")


def prepare() -> None:
    """Import what is large, used by the tests and never changed."""
    import hypothesis  # noqa: F401
    import numpy as np  # noqa: F401
    import wasmtime  # noqa: F401

    assert not any(name.partition(".")[0] in ("legcore", "legsim") for name in sys.modules)


def import_from(folder: Path) -> None:
    """Let the core be imported from a folder, and say nothing of what the tests say."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    os.chdir(TOP)
    sys.dont_write_bytecode = True
    sys.path[:0] = [str(folder), str(TOP / "sim")]


class Trial:
    """A plugin of pytest: it runs the tests on one mutant after the other instead of once.

    The true core comes first; where a test fails on it, no mutant is tried.
    """

    def __init__(self, mutants: list[Mutant], note: Note) -> None:
        self.mutants = sorted(mutants, key=lambda mutant: (mutant.place, mutant.difference))
        self.note = note
        self.outcome = ""
        # The file of tests that could not even be imported.
        self.unread = ""

    def pytest_collectreport(self, report: Any) -> None:
        """Note a file of tests that fails as it is imported."""
        if report.failed and not self.unread:
            self.unread = report.nodeid

    def run(self, try_one: Callable[[Mutant | None], str]) -> None:
        """Try the true core and then every mutant."""
        self.outcome = forked(partial(try_one, None))
        for mutant in self.mutants if self.outcome == SURVIVED else ():
            self.note(mutant, forked(partial(try_one, mutant)))

    def first_failure(self, items: list[pytest.Item]) -> str:
        """Run tests, without the reports of each, which would take most of the time."""
        for item, following in zip(items, [*items[1:], None], strict=True):
            try:
                item.session._setupstate.setup(item)
                item.runtest()
                item.session._setupstate.teardown_exact(following)
            except pytest.skip.Exception:
                continue
            except (Exception, pytest.fail.Exception):
                return item.nodeid
        return SURVIVED


def try_on(folder: Path, files: tuple[str, ...], trial: Trial) -> None:
    """Run a trial with the core of a folder."""

    def work() -> str:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        os.chdir(TOP)
        sys.dont_write_bytecode = True
        sys.path[:0] = [str(folder), str(TOP / "sim")]
        pytest.main([*OPTIONS, *(str(TESTS / file) for file in files)], plugins=[trial])
        return trial.outcome

    outcome = forked(work, resource.RLIM_INFINITY)
    if outcome != SURVIVED:
        raise TrueCoreFailsError(outcome)


class InPlace(Trial):
    """Tries mutants of functions by their code alone, once all tests have been collected."""

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Take the place of the usual run."""

        def try_one(mutant: Mutant | None) -> str:
            if mutant:
                exchange(mutant)
            return self.unread or self.first_failure(session.items)

        def note(mutant: Mutant, outcome: str) -> None:
            known(mutant, outcome)
            # What killed one change of a line will kill the next one, too.
            session.items.sort(key=lambda item: item.nodeid != outcome)

        known, self.note = self.note, note
        self.run(try_one)
        return True


def exchange(mutant: Mutant) -> None:
    """Give a function of the core the code that a mutant makes of it."""
    module = sys.modules[f"legcore.{mutant.file.removesuffix('.py')}"]
    changed = dict(vars(module))
    exec(compile(mutant.text, mutant.file, "exec"), changed)
    function = mutant.piece.function
    getattr(module, function).__code__ = changed[function].__code__


class Afresh(Trial):
    """Tries mutants by a copy of the core, which the tests import only then."""

    def __init__(self, mutants: list[Mutant], note: Note, core: Path) -> None:
        super().__init__(mutants, note)
        self.core = core

    def pytest_collection(self, session: pytest.Session) -> bool:
        """Take the place of the usual collection."""

        def try_one(mutant: Mutant | None) -> str:
            if mutant:
                (self.core / mutant.file).write_text(mutant.source, encoding="utf-8")
            items = session.perform_collect()
            return self.unread or self.first_failure([i for i in items if concerns(i, mutant)])

        def note(mutant: Mutant, outcome: str) -> None:
            known(mutant, outcome)
            shutil.copy2(CORE / mutant.file, self.core)

        known, self.note = self.note, note
        self.run(try_one)
        return True


def concerns(item: pytest.Item, mutant: Mutant | None) -> bool:
    """Whether a test may notice a mutant; a rule about another function does not.

    What has lost its decorator shows where it is called.
    """
    if mutant is None or "test_rules" not in item.nodeid or not mutant.piece.function:
        return True
    name = f"[{mutant.file.removesuffix('.py')}.{mutant.piece.function}]"
    return name in item.name or mutant.difference[1].startswith("@")


def try_in_place(files: tuple[str, ...], mutants: list[Mutant], note: Note) -> None:
    """Try mutants of functions against files of tests."""
    if mutants:
        try_on(CORE.parent, files, InPlace(mutants, note))


def try_afresh(files: tuple[str, ...], mutants: list[Mutant], note: Note) -> None:
    """Try mutants against files of tests, in a copy of the core."""
    if mutants:
        with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
            core = Path(folder) / "legcore"
            shutil.copytree(CORE, core)
            try_on(Path(folder), files, Afresh(mutants, note, core))
