"""Stand-in for `time`: the board's clock, which passes only by waits and by calls.

Its ticks wrap as a board's do, at 2^30.
"""

from legsim.simboard.exchange import WAITS
from legsim.simboard.inside.wires import wires

_MASK = (1 << 30) - 1
_HALF = 1 << 29
# What a look at the clock costs a board of 125 MHz.
_LOOK_US = 5


def ticks_us() -> int:
    """Microseconds, wrapping."""
    wires.call(_LOOK_US)
    return (wires.now_us + wires.start_ticks_us) & _MASK


def ticks_ms() -> int:
    """Milliseconds, wrapping."""
    wires.call(_LOOK_US)
    return (wires.now_us + wires.start_ticks_us) // 1000 & _MASK


def ticks_add(ticks: int, delta: int) -> int:
    """The tick so much later."""
    check(ticks)
    return ticks + delta & _MASK


def ticks_diff(later: int, earlier: int) -> int:
    """How much later one tick is than another; at most half a turn of the clock."""
    check(later)
    check(earlier)
    return (later - earlier + _HALF & _MASK) - _HALF


def check(ticks: int) -> None:
    """Reckoned with in another way than these functions', a tick would outgrow small integers."""
    if not 0 <= ticks <= _MASK:
        raise ValueError("not a tick")


def sleep_us(us: int) -> None:
    """Wait, while the plant moves."""
    wires.call(_LOOK_US)
    wires.say(WAITS, wires.now_us + max(0, us - _LOOK_US))


def sleep_ms(ms: int) -> None:
    """Wait, while the plant moves."""
    sleep_us(1000 * ms)


def sleep(seconds: float) -> None:
    """Wait, while the plant moves."""
    sleep_us(int(1e6 * seconds))
