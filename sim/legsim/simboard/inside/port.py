"""Standard input and output as a board has them, and what CPython lacks of MicroPython."""

import sys

ON_MICROPYTHON = sys.implementation.name == "micropython"


class Port:
    """Standard input or output as the firmware may use it: by its raw side only."""

    def __init__(self, raw: object) -> None:
        self.buffer = raw


if ON_MICROPYTHON:
    STDIN = Port(sys.stdin.buffer)
    STDOUT = Port(sys.stdout.buffer)
    print_exception = sys.print_exception  # type: ignore[attr-defined]  # MicroPython's own

    def report(error: BaseException) -> None:
        """Write a traceback as the prompt does."""
        print_exception(error, sys.stdout)

    def prepare() -> None:
        """Nothing is missing."""

else:
    import io
    import select
    import traceback
    import types

    import micropython

    class RawFile:
        """One end of the port: bytes as they are, nothing kept back."""

        def __init__(self, number: int, mode: str) -> None:
            self.file = io.FileIO(number, mode)
            self.fileno = self.file.fileno
            self.readinto = self.file.readinto

        def write(self, data: "bytes | bytearray | str", length: int = -1) -> int:
            """Write the first bytes of `data`, or all of it."""
            if isinstance(data, str):
                data = data.encode()
            return int(self.file.write(data if length < 0 else data[:length]))

    class Poller:
        """A poll object with MicroPython's `ipoll`."""

        def __init__(self) -> None:
            self.poller = select.poll()
            self.register = self.poller.register

        def ipoll(self, timeout_ms: int) -> "list[tuple[int, int]]":
            """What is ready, one after another."""
            return self.poller.poll(timeout_ms)

    STDIN = Port(RawFile(0, "rb"))
    STDOUT = Port(RawFile(1, "wb"))

    def print_exception(error: BaseException, file: object) -> None:
        """Write a traceback."""
        traceback.print_exception(error, file=file)  # type: ignore[call-overload]

    def report(error: BaseException) -> None:
        """Write a traceback as the prompt does."""
        print_exception(error, STDOUT.buffer)

    def prepare() -> None:
        """Add to CPython what the firmware needs of MicroPython."""
        standin = types.ModuleType("select")
        standin.__dict__.update(poll=Poller, POLLIN=select.POLLIN)
        sys.modules["select"] = standin
        micropython.__dict__.update(heap_lock=lambda: None, heap_unlock=lambda: None)
