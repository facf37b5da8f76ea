"""Stand-in for MicroPython's module of this name, so that legcore imports on a PC.

Here a `native` function is the function itself; legsim.core swaps in another
`native` to compile a copy of the core.
"""

from collections.abc import Callable
from typing import ParamSpec, TypeVar

_P = ParamSpec("_P")
_T = TypeVar("_T")


def const(value: int) -> int:
    """Return `value`; MicroPython's compiler folds it into the code."""
    return value


def native(function: Callable[_P, _T]) -> Callable[_P, _T]:
    """Return `function` unchanged; MicroPython compiles it to machine code."""
    return function


def viper(function: Callable[_P, _T]) -> Callable[_P, _T]:
    """Return `function` unchanged; MicroPython compiles it to bare machine integers."""
    return function
