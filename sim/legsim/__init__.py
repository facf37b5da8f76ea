"""The simulated rig: plant in SI units, wearer, sensors, and the closed loop with legcore."""
