"""What can go wrong for the person at the keyboard, and is theirs to put right.

Each message names the file, key or channel, what was found there, what was expected
and what to do next. The command line prints it without a traceback and ends with 2.
"""


class HockliftError(Exception):
    """Anything that the person can put right; the message tells how."""


class RigFileError(HockliftError):
    """A rig file that is missing, unreadable, incomplete, or describes no possible rig."""


class WearerFileError(HockliftError):
    """A wearer's recording that is missing or unreadable, or has gaps."""


class OutputError(HockliftError):
    """A file or folder that cannot be written, or would overwrite something."""
