"""Streams and runs that several proofs share, each made once for each kind of board."""

import os
import pickle
import time

import forms
import frame_stream
import pytest
import stream
from kinds import FRAME, KINDS, LEGS

STREAMS = {LEGS: stream, FRAME: frame_stream}


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
def recorded_of(shared):
    """recorded_of(kind): the streams that the core itself made in a closed loop."""
    return lambda kind: shared(f"recorded {kind.name}", STREAMS[kind].recorded_streams)


@pytest.fixture(scope="session")
def streams_of(recorded_of):
    """streams_of(kind): the recorded streams, and after them the wild ones."""
    return lambda kind: [*recorded_of(kind), *stream.wild_streams(kind)]


@pytest.fixture(scope="session")
def reference_of(shared, streams_of):
    """reference_of(kind): trace of the plain core over all streams."""
    return lambda kind: shared(
        f"reference {kind.name}", lambda: forms.plain(kind, streams_of(kind))
    )


@pytest.fixture(scope="session", params=KINDS, ids=[kind.name for kind in KINDS])
def kind(request):
    return request.param


@pytest.fixture(scope="session")
def recorded(kind, recorded_of):
    return recorded_of(kind)


@pytest.fixture(scope="session")
def streams(kind, streams_of):
    return streams_of(kind)


@pytest.fixture(scope="session")
def reference(kind, reference_of):
    return reference_of(kind)


@pytest.fixture(scope="session")
def on_64_bit_native(kind, streams, shared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("native")
    return shared(f"native {kind.name}", lambda: forms.on_64_bit(folder, kind, streams))


@pytest.fixture(scope="session")
def on_64_bit_bytecode(kind, streams, shared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bytecode")
    return shared(
        f"bytecode {kind.name}", lambda: forms.on_64_bit(folder, kind, streams, forms.BYTECODE)
    )


@pytest.fixture(scope="session")
def on_32_bit(kind, streams, shared, tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    return shared(f"small {kind.name}", lambda: forms.on_32_bit(folder, kind, streams))
