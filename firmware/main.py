"""What MicroPython runs when the board starts. There must be no boot.py with motor code."""

import sys

# The folder of the program and its settings; `hocklift flash` puts its name here.
PROGRAM = "."
sys.path.insert(0, PROGRAM)

from legboard.start import main  # noqa: E402  (only now is its folder known)

main(PROGRAM)
