"""What board and host say to each other: one table of messages, one of commands, and the codec.

Nothing here reads a port: bytes in, frames out. Both ends import the same tables.
"""
