"""The stick: how fast it asks both legs to fold or rise, and whether it is heeded."""

import micropython

from legcore.phases import STANDING, STOOPING


@micropython.native
def heed(rig, settings):
    """Set the speed that the stick asks for, and whether it is heeded; once a round.

    It is heeded once it has been in its middle with both legs standing, until a leg does
    anything else. Legs too warm, or stooped for too long, rise by themselves and do not
    stoop again before it has been let go.
    """
    left = rig.left
    right = rig.right
    away = rig.stick_count - settings.stick_centre_count
    speed = 0
    beyond = abs(away) - settings.stick_zone_count
    if beyond > 0:
        # Budget: 4095 x 1024 = 4.2e6; 8192 x 1024 = 8.4e6.
        push_q10 = beyond * 1024 // settings.stick_span_count
        if push_q10 > 1024:
            push_q10 = 1024
        cube_q10 = (push_q10 * push_q10 >> 10) * push_q10 >> 10
        push_q10 += (cube_q10 - push_q10) * settings.stick_curve_q8 >> 8
        speed = settings.stoop_step_q6 * push_q10 >> 10
        if away < 0:
            speed = -speed
    rig.stick_step_q6 = speed

    phase = left.phase
    if max(left.winding_mK_q8, right.winding_mK_q8) >= settings.tired_mK * 256:
        rig.stick_ready = 0
    elif phase == STOOPING:
        if left.phase_ticks >= settings.stoop_ticks:
            rig.stick_ready = 0
    elif phase != STANDING or right.phase != STANDING:
        rig.stick_ready = 0
    elif beyond <= 0:
        rig.stick_ready = 1
