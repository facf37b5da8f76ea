"""The firmware for each board, beside the release: `python -m hocklift.flashing.bundle DIR`.

A zip holds what `hocklift flash` puts onto such a board, made by the same code: main.py, the
program's folder, precompiled, and the SHA-256 of each file, to check with `sha256sum -c`. Settings
are a rig's own and not in it: without any, the board moves nothing and says so.
"""

import argparse
import hashlib
import io
import zipfile
from importlib.metadata import version
from pathlib import Path

from hocklift.files import write_atomically
from hocklift.flashing.program import MAIN, Program, build

# board -> its machine code, by mpy-cross's name
BOARDS = {"rp2040": "armv6m", "rp2350": "armv7emsp", "esp32": "xtensawin"}
SUMS = "SHA256SUMS"
# The same firmware is the same file, whenever it is made.
_DATE = (1980, 1, 1, 0, 0, 0)


def contents(program: Program) -> dict[str, bytes]:
    """Every file of a bundle by its path, the list of hashes last."""
    files = {f"{program.name}/{path}": data for path, data in program.files.items()}
    files[MAIN] = program.main
    lines = (f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in files.items())
    return files | {SUMS: "".join(lines).encode()}


def write_bundles(folder: Path) -> list[Path]:
    """Write a bundle for each board into `folder`; returns their paths."""
    paths = []
    for board, architecture in BOARDS.items():
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bundle:
            for path, data in contents(build(architecture)).items():
                bundle.writestr(zipfile.ZipInfo(path, _DATE), data, zipfile.ZIP_DEFLATED)
        paths.append(folder / f"hocklift-{version('hocklift')}-{board}.zip")
        write_atomically(paths[-1], packed.getvalue())
    return paths


def main() -> None:
    """Write them, and print where."""
    parser = argparse.ArgumentParser(prog="python -m hocklift.flashing.bundle")
    parser.add_argument("folder", metavar="DIR", type=Path, help="folder for the bundles")
    for path in write_bundles(parser.parse_args().folder):
        print(path)


if __name__ == "__main__":
    main()
