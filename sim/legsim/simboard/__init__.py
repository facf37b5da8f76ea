"""The simulated board: the real firmware on real MicroPython, its pins wired to the plant."""
