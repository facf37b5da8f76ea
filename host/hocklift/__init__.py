"""The host tool: command line, rig file, and everything that a person starts on a PC."""
