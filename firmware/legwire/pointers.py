"""Names that machine code on a board reads as pointers; anywhere else, what they point into."""

from array import array as ptr16
from array import array as ptr32

__all__ = ["ptr8", "ptr16", "ptr32"]

ptr8 = bytearray
