"""What a recording says the rig really is: numbers of the simulator, found by least squares."""
