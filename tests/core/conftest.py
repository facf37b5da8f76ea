"""Streams and runs that several proofs share, each made once."""

import os
import pickle
import time

import forms
import pytest
import stream


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """shared(name, make): what `make()` returns, made by the one test process that came first."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent

    def get(name, make):
        file, lock, aside = (folder / f"{name}.{kind}" for kind in ("pickle", "lock", "part"))
        while not file.exists():
            try:
                lock.mkdir()
            except FileExistsError:
                time.sleep(0.05)
                continue
            try:
                aside.write_bytes(pickle.dumps(make()))
                aside.replace(file)
            finally:
                lock.rmdir()
        return pickle.loads(file.read_bytes())

    return get


@pytest.fixture(scope="session")
def streams(shared):
    """The recorded streams, and after them the wild ones."""
    return shared("streams", lambda: [*stream.recorded_streams(), *stream.wild_streams()])


@pytest.fixture(scope="session")
def recorded(streams):
    """Those of the streams that the core itself made in a closed loop."""
    return streams[: stream.RECORDED]


@pytest.fixture(scope="session")
def reference(streams, shared):
    """Trace of the plain core over all streams."""
    return shared("reference", lambda: forms.plain(streams))


@pytest.fixture(scope="session")
def on_64_bit_native(streams, shared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("native")
    return shared("native", lambda: forms.on_64_bit(folder, streams))


@pytest.fixture(scope="session")
def on_64_bit_bytecode(streams, shared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bytecode")
    return shared("bytecode", lambda: forms.on_64_bit(folder, streams, forms.BYTECODE))


@pytest.fixture(scope="session")
def on_32_bit(streams, shared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    return shared("small", lambda: forms.on_32_bit(folder, streams))
