"""`hocklift new`: a folder with the demo rig's file and a script, to be made one's own."""

import argparse
import shlex
from pathlib import Path

from legsim.rig import Rig

from hocklift import scriptfile
from hocklift.errors import OutputError
from hocklift.files import write_atomically
from hocklift.rigfile.file import write_rig

FILE_NAME = "marsh-heron.toml"


def run(args: argparse.Namespace) -> int:
    """Write the demo rig and script into `args.folder`, never over an existing file."""
    path: Path = args.folder / FILE_NAME
    script: Path = args.folder / scriptfile.FILE_NAME
    for each in (path, script):
        if each.exists():
            raise OutputError(f"{each}: exists already; name another folder, or move the file away")
    write_rig(Rig(), path)
    write_atomically(script, scriptfile.example())
    print(f"Wrote {path}, the demo rig. Put in your own numbers, then:")
    print(f"  hocklift size {shlex.quote(str(path))}")
    print(f"  hocklift rehearse {shlex.quote(str(path))}")
    print(f"Wrote {script}, what its wearer does on parade. Put in your own show, then:")
    print(f"  hocklift rehearse {shlex.quote(str(path))} --script {shlex.quote(str(script))}")
    return 0
