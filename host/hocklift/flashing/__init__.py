"""Putting the firmware and its settings onto a board, so that a cut leaves the old or the new."""
