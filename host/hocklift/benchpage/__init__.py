"""The bench page: a board live in a browser on this computer, its traces, faults and settings."""
