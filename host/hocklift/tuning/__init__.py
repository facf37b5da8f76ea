"""Gains that hold for many builds of a rig: a search in the simulator, always through the core."""
