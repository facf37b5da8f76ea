"""What a board must be to take the firmware: MicroPython, recent enough, on a chip with pins."""

from dataclasses import dataclass

from hocklift.errors import BoardError
from hocklift.flashing.program import MPY_SUB_VERSION, MPY_VERSION
from hocklift.flashing.prompt import Prompt

LEAST_VERSION = (1, 26)
# sys.platform -> what it runs on; for each there is a pin table in legboard.
PLATFORMS = {"rp2": "RP2040 or RP2350", "esp32": "ESP32"}
# By the number that a board gives for its kind of machine code, as mpy-cross names them.
ARCHITECTURES = (
    "",
    "x86",
    "x64",
    "armv6",
    "armv6m",
    "armv7m",
    "armv7em",
    "armv7emsp",
    "armv7emdp",
    "xtensa",
    "xtensawin",
    "rv32imc",
)

# One at a time, as the port of an old board holds no more. Old ones lack what is asked for last.
_ASKED = (
    "i.name",
    "list(i.version)[:3]",
    "sys.platform",
    "getattr(i, '_mpy', 0)",
    "getattr(i, '_machine', '')",
)


@dataclass(frozen=True)
class Target:
    """A board that can take the firmware."""

    micropython: str
    platform: str
    machine: str
    architecture: str

    @property
    def words(self) -> str:
        """What it is, for a person."""
        what = self.machine or PLATFORMS[self.platform]
        return f"{what}, MicroPython {self.micropython}, machine code {self.architecture}"


def target_at(prompt: Prompt) -> Target:
    """Ask the board what it is; BoardError where the firmware cannot run on it."""
    prompt.run("import sys\ni = sys.implementation")
    name, version, platform, mpy, machine = (prompt.value(each) for each in _ASKED)
    text = ".".join(map(str, version))
    least = ".".join(map(str, LEAST_VERSION))
    refused = f"{prompt.name}: found {name} {text} on {machine or platform}"
    wanted = f"hocklift needs MicroPython {least} or later on {' or '.join(PLATFORMS.values())}"
    if name != "micropython" or platform not in PLATFORMS:
        raise BoardError(f"{refused}; {wanted}: use such a board")
    if tuple(version[:2]) < LEAST_VERSION:
        raise BoardError(f"{refused}; {wanted}: write a later MicroPython onto the board first")
    # Of the number: form in bits 0 to 7, form of machine code in 8 and 9, its kind in 10 to 13.
    kind = mpy >> 10 & 15
    if mpy & 255 != MPY_VERSION or mpy >> 8 & 3 != MPY_SUB_VERSION:
        raise BoardError(
            f"{refused}, which takes precompiled files of version {mpy & 255}.{mpy >> 8 & 3}; this"
            f" hocklift makes {MPY_VERSION}.{MPY_SUB_VERSION}: use a release of MicroPython that"
            f" takes these, {least} is one"
        )
    if not 0 < kind < len(ARCHITECTURES):
        raise BoardError(
            f"{refused}, which takes no machine code, or of a kind that hocklift does not know"
            f" ({kind}); use the MicroPython that its makers offer for your board"
        )
    return Target(text, platform, machine, ARCHITECTURES[kind])
