"""A joint with two ropes, a wing: one tackle each way on one motor's drum, and no spring."""
