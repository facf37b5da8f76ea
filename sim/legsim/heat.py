"""Heat of a motor: two bodies, winding and case, and copper that resists more when warm."""

from typing import Any

from legsim.compiled import native

# Resistance of copper per kelvin over that at 20 degrees C; Motor control user guide SPRUHJ1I.
COPPER_PER_K = 0.00393


@native
def warm(leg: Any, rig: Any, dt: float) -> None:
    """Spend the heat that a tick has made: winding to case, case to air, resistance anew.

    `winding_K` and `case_K` are rises over air of 20 degrees C. One explicit step a tick is
    ample: the quickest of these bodies takes seconds.
    """
    drive = rig.drive
    to_case_W = (leg.winding_K - leg.case_K) / drive.winding_to_case_K_per_W
    to_air_W = leg.case_K / drive.case_to_air_K_per_W
    leg.winding_K += (leg.copper_J - to_case_W * dt) / drive.winding_J_per_K
    leg.case_K += (leg.iron_J + (to_case_W - to_air_W) * dt) / drive.case_J_per_K
    leg.copper_J = leg.iron_J = 0.0
    leg.resistance_ohm = drive.resistance_ohm * (1 + COPPER_PER_K * leg.winding_K)
