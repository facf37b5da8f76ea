"""What can go wrong for the person at the keyboard, and is theirs to put right.

Each message names the file, key or channel, what was found there, what was expected
and what to do next. The command line prints it without a traceback and ends with 2.
"""


class HockliftError(Exception):
    """Anything that the person can put right; the message tells how."""


class UsageError(HockliftError):
    """Words on the command line that mean nothing."""


class RigFileError(HockliftError):
    """A rig file that is missing, unreadable, incomplete, or describes no possible rig."""


class ScriptFileError(HockliftError):
    """A script file that cannot be played; names the act and the key."""


class WearerFileError(HockliftError):
    """A wearer's recording that is missing or unreadable, or has gaps."""


class PortError(HockliftError):
    """A port that is not there, is in use, or has gone away."""


class BoardError(HockliftError):
    """A board that is silent or refuses, or is not what was expected."""


class LogError(HockliftError):
    """A recording that is missing or unreadable, or cannot be used for what was asked."""


class OutputError(HockliftError):
    """A file or folder that cannot be written, or would overwrite something."""


class CrewError(HockliftError):
    """Processes or a cluster that cannot be reached, or were lost amid their work."""
