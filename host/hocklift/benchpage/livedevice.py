"""A board that is heard of, and may be stopped, whatever is waited for."""

from collections.abc import Callable

from hocklift.device import Device
from hocklift.transport import Transport
from hocklift.wire import Frame

# Nobody waits for the board longer than this without looking for what is urgent.
LOOK_S = 0.02


class LiveDevice(Device):
    """Tells of every frame as it comes, and gives what is urgent its turn before each look."""

    def __init__(
        self,
        transport: Transport,
        heard: Callable[[list[Frame]], None],
        urgent: Callable[[Device], None],
    ) -> None:
        super().__init__(transport)
        self._heard = heard
        self._urgent = urgent

    def poll(self, wait_s: float = LOOK_S) -> list[Frame]:
        """Let frames in, for at most so long; what is urgent goes out first."""
        self._urgent(self)
        frames = super().poll(min(wait_s, LOOK_S))
        self._heard(frames)
        return frames
