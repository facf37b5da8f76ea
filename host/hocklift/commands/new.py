"""`hocklift new`: a folder with the demo rigs' files and a script, to be made one's own."""

import argparse
import shlex
from pathlib import Path

from legsim.rig import Rig
from legsim.wing.rig import WingRig

from hocklift import scriptfile
from hocklift.errors import OutputError
from hocklift.files import write_atomically
from hocklift.rigfile.file import write_rig
from hocklift.rigfile.keys import AnyRig

FILE_NAME = "marsh-heron.toml"
# The demo rigs, one with each kind of joint.
RIGS: dict[str, AnyRig] = {FILE_NAME: Rig(), "marsh-heron-wings.toml": WingRig()}


def run(args: argparse.Namespace) -> int:
    """Write the demo rigs and script into `args.folder`, never over an existing file."""
    script: Path = args.folder / scriptfile.FILE_NAME
    for each in (*(args.folder / name for name in RIGS), script):
        if each.exists():
            raise OutputError(f"{each}: exists already; name another folder, or move the file away")
    for name, rig in RIGS.items():
        write_rig(rig, args.folder / name)
    write_atomically(script, scriptfile.example())
    path: Path = args.folder / FILE_NAME
    print(f"Wrote {path}, the demo rig. Put in your own numbers, then:")
    print(f"  hocklift size {shlex.quote(str(path))}")
    print(f"  hocklift rehearse {shlex.quote(str(path))}")
    print(f"Wrote {script}, what its wearer does on parade. Put in your own show, then:")
    print(f"  hocklift rehearse {shlex.quote(str(path))} --script {shlex.quote(str(script))}")
    print("Beside them lies marsh-heron-wings.toml, the wings of that heron.")
    return 0
