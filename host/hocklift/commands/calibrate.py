"""`hocklift calibrate`: poses of both legs in, the joints' calibration on the board."""

import argparse
from dataclasses import asdict
from math import degrees
from typing import Any

from rich.console import Console
from rich.table import Table as Rows

from hocklift.calibrating import Calibrating, LegResult
from hocklift.checking.asker import asker_of, say
from hocklift.commands.output import print_json
from hocklift.device import Device
from hocklift.rigfile.file import rig_or_demo
from hocklift.safety.cautions import before_motion
from hocklift.transport import SIM, open_port

SCHEMA = "hocklift calibrate 1"
_CAUTION = (
    "You turn the legs by hand, against their springs: the motors' plugs are out and the arm input"
    " is open all the while."
)


def run(args: argparse.Namespace) -> int:
    """Calibrate both legs; 0 when both are on the board, 1 when one was not accepted."""
    rig, rig_name = rig_or_demo(args.rig)
    console = Console(stderr=args.json)
    if args.port != SIM:
        say(console, before_motion(_CAUTION))
    with Device(open_port(args.port, rig)) as device:
        asker = asker_of(device, console)
        hello = device.hello()
        run = Calibrating(device, rig, asker, hello)
        try:
            good = run.run(lambda leg: show(leg, console))
        except BaseException:
            say(console, f"\nStopped. {run.kept_words}")
            raise
    if args.json:
        print_json(as_json(run, rig_name, good))
    console.print(run.kept_words, style="bold green" if good else "bold red")
    if good and hello.values["settings_state"]:
        say(console, "The board had no usable settings before: take its power and give it back.")
    if good:
        say(console, "Next: hocklift check")
    return 0 if good else 1


def show(leg: LegResult, console: Console) -> None:
    """Print one leg's poses, fits and remarks."""
    rows = Rows(f"{leg.name} leg", "lean", "count", "noise", "off the line", title=None)
    for joint in leg.joints:
        off = joint.line.off_rad if joint.line else (None,) * len(joint.poses)
        for pose, each in zip(joint.poses, off, strict=True):
            rows.add_row(
                joint.name,
                f"{degrees(pose.lean_rad):.1f} deg",
                f"{pose.count:.0f}",
                f"{pose.noise_count:.1f}",
                "" if each is None else f"{degrees(each):+.2f} deg",
            )
    console.print(rows)
    for joint in leg.joints:
        if joint.line is not None:
            say(
                console,
                f"{joint.name}: residual {degrees(joint.line.residual_rad):.2f} deg rms,"
                f" nonlinearity {100 * joint.line.nonlinearity:.2f} % of full scale",
            )
        for remark in joint.remarks:
            say(console, f"{joint.name} {remark.words}")
    for remark in leg.remarks:
        say(console, f"{leg.name} leg, {remark.words}")


def as_json(run: Calibrating, rig_name: str, good: bool) -> dict[str, Any]:
    """All poses and fits in SI units."""
    return {
        "schema": SCHEMA,
        "rig": rig_name,
        "met": good,
        "kept": run.kept_words,
        "legs": [
            {
                "name": leg.name,
                "kept": leg.kept,
                "remarks": [remark.words for remark in leg.remarks],
                "joints": [
                    {
                        "name": joint.name,
                        "poses": [asdict(pose) for pose in joint.poses],
                        "zero_rad": joint.line and joint.line.zero_rad,
                        "rad_per_count": joint.line and joint.line.rad_per_count,
                        "residual_rad": joint.line and joint.line.residual_rad,
                        "nonlinearity": joint.line and joint.line.nonlinearity,
                        "table": joint.made and asdict(joint.made),
                        "remarks": [remark.words for remark in joint.remarks],
                    }
                    for joint in leg.joints
                ],
            }
            for leg in run.legs
        ],
    }
