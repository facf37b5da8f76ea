"""One leg on a stand, its loop closed by the core's own functions, started near balance."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from hocklift.loops.plant import STATES, Plant, without_friction
from legcore.model import VISIT_TICKS
from legcore.phases import HELD
from legsim import core
from legsim.leg import pose
from legsim.plant import plant_tick, start_state
from legsim.records import rig_record
from legsim.rig import Rig
from legsim.sensors import sense_leg
from legsim.settings import core_rig

NEUTRAL_S = Rig().controller.neutral_s


def smooth(rig: Rig) -> Rig:
    """The rig without all that only small or large motions meet: friction, play, steps, limits."""
    rig = without_friction(rig)
    return replace(
        rig,
        controller=replace(
            rig.controller, resolution_s=0.0, ramp_s=0.0, current_limit_A=500, start_current_A=500
        ),
        sensors=replace(
            rig.sensors,
            pot_nonlinearity=0.0,
            pot_backlash_rad=0.0,
            # Finer steps than a real one has.
            pot_travel_rad=np.radians(90),
            noise_count=0.0,
            lift_off_per_s=0.0,
        ),
        control=replace(rig.control, slew_per_s=120.0, drive_min=0.0, drive_max=1.0),
    )


class ClosedLeg:
    """The left leg about a balance, `off_rad` away from it; gains times `factor`.

    The factor may go past what settings allow: the compiled core counts in wider integers.
    """

    def __init__(self, rig: Rig, plant: Plant, factor: float, off_rad: float, seed: int = 1):
        record = core.to_record(core_rig(rig))
        self.core = record[0]
        self.settings = self.core.settings
        for name in ("kp_q16", "ki_q16", "kd_q16"):
            self.settings[name] = round(factor * self.settings[name])
        self.rig = rig_record(rig)[0]
        self.whole = start_state(rig, seed)[0]
        self.whole["stand"] = self.whole["contactor"] = 1.0
        self.leg: Any = self.whole["left"]
        for name, value in zip(STATES, plant.state, strict=True):
            self.leg[name] = value
        self.leg["hip_m"] = self.whole["right"]["hip_m"] = 10.0
        self.leg["duty"] = self.leg["demand"] = plant.duty
        self.leg["thigh_rad"] += off_rad / 2
        self.leg["shank_rad"] += off_rad / 2
        # The line is taken in as the leg is folded, so that its pull stays.
        pose(self.leg, self.rig)
        self.leg["wound_m"] -= rig.rope.parts * off_rad * self.leg["rope_per_fold_m"]
        fold_cdeg = float(plant.state[0] + plant.state[1]) * 18000 / np.pi
        leg = self.core.left
        leg.phase = HELD
        leg.law_on = 1
        leg.drive_permille = round(1000 * plant.duty)
        leg.setpoint_cdeg_q6 = round(64 * fold_cdeg)
        # The balance's own drive, so that nothing moves but what was put off.
        self.settings.hold_permille[:] = round(1000 * plant.duty)

    def folds_rad(self, ticks: int) -> Iterator[float]:
        """The true fold, tick by tick."""
        modules = core.compiled()
        estimate, control = modules["estimate"].estimate, modules["law"].control
        limit, give_pulse = modules["limits"].limit, modules["limits"].give_pulse
        leg, settings = self.core.left, self.settings
        for tick in range(ticks):
            sense_leg(self.leg, self.rig, self.whole, leg)
            if tick % VISIT_TICKS == 0:
                estimate(leg, settings.left_thigh, settings.left_shank, settings)
                control(leg, settings)
                limit(leg, settings)
                give_pulse(leg, settings)
            plant_tick(self.whole, self.rig, leg.pulse_us * 1e-6, NEUTRAL_S)
            yield float(self.leg["thigh_rad"] + self.leg["shank_rad"])
