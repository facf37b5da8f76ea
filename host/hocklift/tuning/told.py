"""What is said of a tuning besides its figures, on a terminal as on a page."""

from hocklift.tuning.kinds import kind_of
from hocklift.tuning.tuning import Tuning

_START = (
    "Gains from a simulation are a start, not an approval. A {joint} that moves otherwise fails"
    " otherwise, and the limits under [safety] were chosen for the gains of before: drill the rig"
    " again (hocklift drill) before you flash it."
)
# By what moves: how to go on then, and what its smoothness is told with.
_THEN = {
    "leg": " Then try it unloaded, then on the stand, with somebody at the emergency stop"
    " (hocklift check).",
    "wing": " Then try it empty, nobody within reach of its tip, with somebody at the emergency"
    " stop.",
}
SMOOTH_WORDS = {
    "leg": "How smoothly they walk, the roughest of them, and how far the loop is from swinging,"
    " in the pose and phase nearest to it",
    "wing": "How smoothly they move, the roughest of them",
}


def caution(tuning: Tuning) -> str:
    """What to do with the gains of this tuning before they move anything."""
    joint = kind_of(tuning.after).joint
    return _START.format(joint=joint) + _THEN[joint]
