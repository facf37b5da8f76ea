"""Which serial port the board is at, where nobody says so."""

from serial.tools import list_ports

from hocklift.errors import PortError
from hocklift.transport import SIM


def port_of_board(port: str | None) -> str:
    """The port that was named, or the only one with something on USB behind it.

    Nothing is written to find out: behind another port may be a machine that moves. Raises
    PortError.
    """
    if port == SIM:
        raise PortError(
            f"{SIM}: the simulated board runs the firmware of this hocklift as it is; there is"
            " nothing to flash. Name a real board's port"
        )
    if port is not None:
        return port
    found = [each.device for each in list_ports.comports() if each.vid is not None]
    if len(found) == 1:
        return str(found[0])
    if not found:
        raise PortError(
            "no board is here: looked for a serial port on USB and found none; plug the board in"
            " with a cable that carries data, and write MicroPython onto it if it is new (then it"
            " shows as a serial port); one on another kind of port is named with --port"
        )
    raise PortError(f"several boards may be here; {ports_here()}: name the board's with --port")


def ports_here() -> str:
    """Which ports there are, as a person may know them."""
    found = sorted(list_ports.comports(), key=lambda each: str(each.device))
    if not found:
        return "no serial port is here"
    return "ports here: " + ", ".join(_shown(each.device, each.description) for each in found)


def _shown(device: str, description: str | None) -> str:
    return device if description in (None, "", "n/a") else f"{device} ({description})"
