"""`hocklift new`: a folder with the demo rig's file, to be made one's own."""

import argparse
import shlex
from pathlib import Path

from legsim.rig import Rig

from hocklift.errors import OutputError
from hocklift.rigfile.file import write_rig

FILE_NAME = "marsh-heron.toml"


def run(args: argparse.Namespace) -> int:
    """Write the demo rig into the folder `args.folder`, never over an existing file."""
    path: Path = args.folder / FILE_NAME
    if path.exists():
        raise OutputError(f"{path}: exists already; name another folder, or move the file away")
    write_rig(Rig(), path)
    print(f"Wrote {path}, the demo rig. Put in your own numbers, then:")
    print(f"  hocklift size {shlex.quote(str(path))}")
    print(f"  hocklift rehearse {shlex.quote(str(path))}")
    return 0
