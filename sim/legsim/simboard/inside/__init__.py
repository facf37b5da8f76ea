"""What runs inside the board's process: stand-ins for the modules that touch hardware.

On MicroPython as on CPython: no module here may import what either of them lacks.
"""
