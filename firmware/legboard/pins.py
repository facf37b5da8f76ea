"""The pin table of the board that this runs on."""

import sys

if sys.platform == "esp32":
    from legboard import pins_esp32 as pins
else:
    from legboard import pins_rp2040 as pins

__all__ = ["pins"]
