"""Starts the firmware in this process, which is the board: MicroPython's, or CPython's.

Arguments: pipe from the plant, pipe to it, folder of legsim, platform, cause of the reset,
what the clock shows. The working folder is the board's flash.
"""

import sys

FROM_PLANT, TO_PLANT, SIM, PLATFORM, CAUSE, START_TICKS_US = sys.argv[1:7]
sys.path[0] = SIM

from legsim.simboard.exchange import HAS_ENDED, WAITS  # noqa: E402  (only now is the path set)
from legsim.simboard.inside import port  # noqa: E402
from legsim.simboard.inside.prompt import Prompt  # noqa: E402
from legsim.simboard.inside.standins import put_in_place, starts_by_itself  # noqa: E402
from legsim.simboard.inside.wires import Plant, wires  # noqa: E402


def run() -> None:
    """Run the board's program to its end, say it as the prompt would, and be the prompt."""
    wires.say(WAITS, 0)
    if starts_by_itself():
        try:
            __import__("main")
        except BaseException as error:  # the prompt takes whatever comes
            port.report(error)
    wires.say(HAS_ENDED, wires.now_us)
    Prompt().run()


from_plant = open(int(FROM_PLANT), "rb", 0)  # noqa: SIM115  (as long as the board runs)
to_plant = open(int(TO_PLANT), "wb", 0)  # noqa: SIM115
put_in_place(Plant(from_plant, to_plant), PLATFORM, int(CAUSE), int(START_TICKS_US))
run()
