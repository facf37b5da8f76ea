"""Stages of commissioning, and how far each lets a motor go.

The stage is in the settings; the board refuses settings that exceed it. Nobody reads a
motor's force from its drive: at rest a small part of full drive already asks for all the
current that the speed controller lets through. So a stage bounds drive, speed and the
time for which a motor may push without moving anything.
"""

from micropython import const

UNLOADED = const(0)
STAND = const(1)
GANTRY = const(2)
WALKING = const(3)

# (name, most drive in permille, most fold speed in cdeg/s, longest stall in ms, what it is for)
STAGES = (
    ("unloaded", 250, 1000, 150, "rope off the drum: which way the motor turns, and that it stops"),
    ("stand", 500, 2000, 200, "strung, the frame on its stand, nobody in it"),
    ("gantry", 800, 3000, 250, "worn, held from above, somebody at the stop"),
    ("walking", 1000, 10000, 500, "worn, on the ground"),
)
