"""The rig file: what it says of each key, how it is read and written."""
