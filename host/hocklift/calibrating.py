"""Walk a person through the poses of both legs, and put each accepted calibration on the board.

Nothing is written before all poses of a leg are in and accepted.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from math import degrees, isfinite, pi, radians
from typing import Any

from legsim.linkage import leans_under_hip_rad
from legsim.rig import Rig
from legsim.sensors import FULL_SCALE
from legsim.tables import STAGES

from hocklift.calibration import (
    Fit,
    FitError,
    Pose,
    Remark,
    Table,
    fit,
    pose,
    remarks,
    stop_remark,
    table,
    window_remarks,
)
from hocklift.checking import settings
from hocklift.checking.asker import Asker
from hocklift.checking.ticks import JOINTS, LEGS, watch
from hocklift.device import Device, SilentError
from hocklift.errors import HockliftError
from hocklift.wire import Frame

# (name, where between the two stops, whether it is one of them)
POSES = (
    ("the hard extended stop", 0.0, True),
    ("a block, a third of the way", 1 / 3, False),
    ("a block, two thirds of the way", 2 / 3, False),
    ("the hard folded stop", 1.0, True),
)
SAMPLE_S = 1.0
# Fewer ticks than this in that time, and the wire is too bad to measure through.
_LEAST_TICKS = 30


@dataclass
class JointResult:
    """One joint's poses, the line through them, and what there is to say about it."""

    name: str
    poses: list[Pose] = field(default_factory=list)
    line: Fit | None = None
    made: Table | None = None
    remarks: list[Remark] = field(default_factory=list)


@dataclass
class LegResult:
    """Both joints of a leg; `kept` once its calibration is on the board and read back."""

    name: str
    joints: list[JointResult]
    remarks: list[Remark] = field(default_factory=list)
    kept: bool = False

    @property
    def usable(self) -> bool:
        """Whether there is nothing that forbids to use it."""
        return not any(r.stops for joint in self.joints for r in joint.remarks)

    @property
    def clean(self) -> bool:
        """Whether there is nothing to look at again."""
        every = [*self.remarks, *(r for joint in self.joints for r in joint.remarks)]
        return all(remark.harmless for remark in every)


class Calibrating:
    """One run; `legs` holds what has been measured, `kept` says in words what is on the board."""

    def __init__(self, device: Device, rig: Rig, asker: Asker, hello: Frame) -> None:
        self.device = device
        self.rig = rig
        self.asker = asker
        self.hello = hello
        self.period_s = int(hello.values["period_us"]) / 1e6
        self.legs: list[LegResult] = []
        self._writing = ""

    def run(self, show: Callable[[LegResult], None]) -> bool:
        """Both legs in turn; whether both are kept."""
        self.asker.wait(
            "Frame on its stand, feet free, power of the motors off, both ropes off their drums.",
            _prepare,
        )
        self.device.send("every", 1)
        try:
            kept = [self._leg(leg, show) for leg in range(len(LEGS))]
            return all(kept)
        finally:
            with suppress(HockliftError):
                self.device.send("every", 0)

    @property
    def kept_words(self) -> str:
        """What is on the board now, for whoever stops in the middle."""
        if self._writing:
            return (
                f"The {self._writing} leg's calibration was just being written: restart the board"
                " before anything else; it then has the old one or the new one whole."
            )
        kept = [leg.name for leg in self.legs if leg.kept]
        if not kept:
            return "Nothing was written: the board's calibration is as it was."
        if len(kept) == len(LEGS):
            return "Both legs' calibration is on the board."
        return f"The {kept[0]} leg's calibration is on the board; the other leg's is as it was."

    def _leg(self, leg: int, show: Callable[[LegResult], None]) -> bool:
        while True:
            result = self._measure(leg)
            show(result)
            again = f"Measure the {LEGS[leg]} leg again?"
            if not result.usable:
                if self.asker.ask(again + " (yes or no)", lambda _: "no").lower() in ("y", "yes"):
                    continue
                self.legs.append(result)
                return False
            accepted = self.asker.ask(
                f"Use this for the {LEGS[leg]} leg? (yes, no, or again)",
                lambda _, result=result: "yes" if result.clean else "no",  # type: ignore[misc]
            ).lower()
            if accepted in ("again", "a"):
                continue
            self.legs.append(result)
            if accepted in ("y", "yes"):
                self._write(leg, result)
            return result.kept

    def _measure(self, leg: int) -> LegResult:
        m = self.rig.mechanism
        result = LegResult(LEGS[leg], [JointResult(f"{LEGS[leg]} {joint}") for joint in JOINTS])
        for name, share, is_stop in POSES:
            fold_rad = m.fold_extended_rad + share * (m.fold_hard_stop_rad - m.fold_extended_rad)
            leans_rad = self._pose(leg, name, fold_rad)
            for joint, found in zip(result.joints, self._sample(leg, leans_rad), strict=True):
                joint.poses.append(found)
            if is_stop and (remark := stop_remark(name, sum(leans_rad), fold_rad)):
                result.remarks.append(remark)
        self.asker.wait(f"Let the {LEGS[leg]} leg go, hands away.", lambda b: b.hold(leg, None))
        travels = (m.thigh_min_rad, m.thigh_max_rad), (m.shank_min_rad, m.shank_max_rad)
        for joint, (low_rad, high_rad) in zip(result.joints, travels, strict=True):
            _judge(joint, low_rad, high_rad, self.rig)
        return result

    def _pose(self, leg: int, name: str, fold_rad: float) -> tuple[float, float]:
        """Have the leg put into a pose; its two leans as measured."""
        usual_rad = leans_under_hip_rad(self.rig.mechanism, fold_rad)
        usual = "{:.1f} {:.1f}".format(*map(degrees, usual_rad))
        self.asker.wait(
            f"{LEGS[leg].capitalize()} leg to {name}: fold {degrees(fold_rad):.1f} deg. Draw it"
            " with a strap and block it.",
            lambda board: board.hold(leg, fold_rad),
        )
        while True:
            text = self.asker.ask(
                "Thigh and shank lean from vertical in degrees, by level or protractor, as in"
                f" `{usual}` (Enter alone: the block is right and the foot straight below the"
                f" hip, so {usual}):",
                lambda board: _measured(board, leg),
            )
            found = usual_rad if not text else _leans_rad(text)
            if found is not None:
                return found
            self.asker.tell(
                f"{text!r} is not two leans; expected two numbers from -90 to 90, as in `{usual}`"
            )

    def _sample(self, leg: int, leans_rad: tuple[float, float]) -> list[Pose]:
        # What was sent while the person typed was of another pose.
        watch(self.device, self.period_s, 0.1)
        ticks = watch(self.device, self.period_s, SAMPLE_S)
        if len(ticks) < _LEAST_TICKS:
            raise SilentError(
                f"{self.device.transport.name}: {len(ticks)} ticks came in {SAMPLE_S:g} s, expected"
                f" about {SAMPLE_S / self.period_s:.0f}; try another cable or port"
            )
        travel_rad = abs(self.rig.sensors.pot_travel_rad)
        leap_count = self.rig.safety.pot_jump_rad / travel_rad * FULL_SCALE
        poses = []
        for joint, lean_rad in zip(JOINTS, leans_rad, strict=True):
            poses.append(pose(lean_rad, ticks[f"{LEGS[leg]}_{joint}_count"], leap_count))
        return poses

    def _write(self, leg: int, result: LegResult) -> None:
        """Put one leg's two tables on the board, keep them, and read them back."""
        device = self.device
        now = settings.read(device)
        usable = self.hello.values["settings_state"] == 0
        others = any(one.kept for one in self.legs)
        # A board without usable settings is given those of the rig file, at the first stage.
        then = list(now) if usable or others else settings.fresh(self.rig, STAGES[0].name)
        for joint in result.joints:
            assert joint.made is not None
            _put(then, joint.name.replace(" ", "_"), joint.made.words)
        # A board is calibrated once both its legs are.
        before = int(self.hello.values["calibrated_day"])
        day = settings.today() if others or before else 0
        self._writing = LEGS[leg]
        settings.change(device, now, then, day)
        self._writing = ""
        result.kept = True


def _put(words: list[int], calibration: str, values: list[int]) -> None:
    first = settings.first_word(calibration)
    words[first : first + len(values)] = values


def _judge(joint: JointResult, low_rad: float, high_rad: float, rig: Rig) -> None:
    """The line and the table of one joint, and everything there is to say about it."""
    try:
        joint.line = fit(joint.poses)
        joint.remarks = remarks(joint.poses, joint.line, rig)
        joint.made = table(joint.line, low_rad, high_rad, rig.safety.pot_margin_rad)
        joint.remarks += window_remarks(joint.made)
    except FitError as error:
        joint.remarks = [
            *remarks(joint.poses, joint.line, rig),
            Remark(f"cannot be calibrated: {error}; look at its wire and its shaft", stops=True),
        ]


def _leans_rad(text: str) -> tuple[float, float] | None:
    """Two leans as somebody types them, or None."""
    try:
        thigh, shank = (float(part) for part in text.replace(",", " ").split())
    except ValueError:
        return None
    if not all(isfinite(lean) and abs(lean) <= 90 for lean in (thigh, shank)):
        return None
    return radians(thigh), radians(shank)


def _prepare(board: Any) -> None:
    board.arm(False)
    board.on_stand(True)
    board.rope(False)


def _measured(board: Any, leg: int) -> str:
    """What a protractor shows at the simulated rig."""
    truth = (board.truth.left, board.truth.right)[leg]
    return f"{truth.thigh_rad * 180 / pi:.1f} {truth.shank_rad * 180 / pi:.1f}"
