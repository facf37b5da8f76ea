"""Whether the program that was put onto the board runs."""

import time

from legsim.rig import Rig

from hocklift.device import Device
from hocklift.errors import PortError
from hocklift.transport import open_port
from hocklift.wire import Frame

# A board on USB is away for a moment when it restarts; its port may be there a little longer.
_BACK_S = 15.0
_AGAIN_S = 0.2


def hello_from(port: str) -> Frame:
    """The hello of a board that has just been restarted; PortError or BoardError without."""
    end_s = time.monotonic() + _BACK_S
    while True:
        try:
            with Device(open_port(port, Rig())) as device:
                return device.hello()
        except PortError:
            if time.monotonic() > end_s:
                raise
        time.sleep(_AGAIN_S)
