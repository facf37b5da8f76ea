"""How fast the closed loop runs, beside the same mechanism in another simulator."""
