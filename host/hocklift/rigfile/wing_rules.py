"""What the numbers of a rig with wings must be to each other, as `rules.RULES` of one with legs."""

from decimal import ROUND_FLOOR
from math import degrees

from legsim.wing.perturb import coarsest_wing_substep_s
from legsim.wing.rig import WingRig

from hocklift.rigfile.keys import WING_KEYS, AnyRig
from hocklift.rigfile.rules import RULES, Rule
from hocklift.rigfile.units import show, with_unit

_PATHS = {key.path for section in WING_KEYS.values() for key in section.values()}


def _fastest_radps(rig: WingRig) -> float:
    return max(rig.control.follow_speed_radps, rig.control.release_speed_radps)


def _pot_covers(rig: WingRig) -> bool:
    sensors, margin_rad = rig.sensors, rig.safety.pot_margin_rad
    half_rad = sensors.pot_travel_rad / 2
    low_rad = rig.wing.hard_lowered_rad - margin_rad
    high_rad = rig.wing.hard_raised_rad + margin_rad
    return (
        sensors.pot_centre_rad - half_rad <= low_rad
        and high_rad <= sensors.pot_centre_rad + half_rad
    )


def _run_m(rig: WingRig) -> float:
    """How far either tackle closes from half way up to a hard stop."""
    return rig.rope.quadrant_m * (rig.wing.hard_raised_rad - rig.wing.middle_rad)


def _steps_fit(rig: WingRig) -> bool:
    try:
        return rig.substeps > 0
    except ValueError:
        return False


_OWN = (
    Rule(
        ("wing.lowered", "wing.raised"),
        lambda rig: rig.wing.lowered_rad <= 0 < rig.wing.raised_rad,
        "a wing must hang, at 0 deg, between its ends: there it rests, and there it is safe",
    ),
    Rule(
        ("safety.stop_margin", "wing.beyond"),
        lambda rig: rig.safety.stop_margin_rad < rig.wing.beyond_rad / 2,
        "half of what is beyond an end is for the soft stop; the margin past that must end before "
        "the hard stop",
    ),
    Rule(
        ("rope.tackle", "rope.quadrant", "wing.lowered", "wing.raised", "wing.beyond"),
        lambda rig: rig.rope.tackle_m > _run_m(rig),
        "a tackle must be longer than it closes from half way up to a hard stop",
        lambda rig: f"it closes by {with_unit(show(_run_m(rig), 'mm', 4), 'mm')}",
    ),
    Rule(
        (
            "sensors.pot_centre",
            "sensors.pot_travel",
            "wing.lowered",
            "wing.raised",
            "wing.beyond",
            "safety.pot_margin",
        ),
        _pot_covers,
        "the pot's travel about its centre must reach past both hard stops by the margin",
    ),
    Rule(
        ("safety.rate", "control.follow_speed", "control.release_speed"),
        lambda rig: rig.safety.rate_radps > _fastest_radps(rig),
        "the rate that is a fault must be more than the fastest that the setpoint moves",
        lambda rig: f"that is {with_unit(show(degrees(_fastest_radps(rig)), 'deg/s', 4), 'deg/s')}",
    ),
    Rule(
        ("control.down_time", "control.release_speed", "wing.lowered", "wing.raised"),
        lambda rig: (
            rig.control.down_time_s
            > max(rig.wing.raised_rad, -rig.wing.lowered_rad) / rig.control.release_speed_radps
        ),
        "bringing a wing to hang must have more time than the way takes at its speed, "
        "or the power would go while it is up",
    ),
    Rule(
        ("control.arrive", "control.call"),
        lambda rig: rig.control.arrive_rad < rig.control.call_rad,
        "a wing must be called from rest by more than what is near enough to it",
    ),
    Rule(
        ("control.arrive", "safety.sunk"),
        lambda rig: rig.control.arrive_rad < rig.safety.sunk_rad,
        "what is near enough to rest must be less than a wing at rest may swing",
    ),
    Rule(
        ("control.substep", "rope.line_EA", "rope.line_damping", "wing.hinge_friction"),
        lambda rig: not _steps_fit(rig) or rig.control.substep_s <= coarsest_wing_substep_s(rig),
        "the substep is too long for so stiff a line or so much friction; write a shorter one",
        lambda rig: (
            f"at most {with_unit(show(coarsest_wing_substep_s(rig), 'ms', 2, ROUND_FLOOR), 'ms')}"
        ),
    ),
)

# A rule over keys that wings have as well holds for them as it does for legs.
WING_RULES = (*_OWN, *(rule for rule in RULES if _PATHS.issuperset(rule.keys)))


def rules_of(rig: AnyRig) -> tuple[Rule, ...]:
    """The rules of a rig's kind."""
    return WING_RULES if isinstance(rig, WingRig) else RULES
