"""The core's tables of a wing by the names of their columns, as `legsim.tables` has a leg's."""

from legcore import wing_faults, wing_phases, wing_supervise

from legsim.tables import Condition, Fault, Phase

WING_PHASES = tuple(Phase(*row) for row in wing_phases.WING_PHASES)
WING_FAULTS = tuple(Fault(*row) for row in wing_faults.WING_FAULTS)
WING_ARMING = tuple(Condition(*row) for row in wing_supervise.WING_ARMING)
MOVING = (wing_phases.FOLLOWING, wing_phases.RELEASING)
