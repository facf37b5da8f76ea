"""What `hocklift doctor` sees, and what it tells to do."""

from importlib import metadata
from pathlib import Path
from types import SimpleNamespace

import legboard
import pytest
from documents import document_of
from hocklift import doctoring
from hocklift.cli import main
from hocklift.doctoring import BAD, GOOD, OPTION, OPTIONAL, Finding, findings


@pytest.fixture(autouse=True)
def built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A manual that is there, whatever this installation has; no port but those of a test."""
    (tmp_path / "index.html").touch()
    monkeypatch.setattr(doctoring, "SITE", tmp_path)
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def by_name(found: list[Finding]) -> dict[str, Finding]:
    return {each.what: each for each in found}


def test_every_package_that_hocklift_needs_is_told_with_its_version() -> None:
    found = by_name(findings())
    for name in ("numba", "numpy", "pyserial", "mpremote"):
        assert found[name] == Finding("packages", name, metadata.version(name))
    assert set(metadata.metadata("hocklift").get_all("Provides-Extra") or ()) == {*OPTIONAL, "test"}


def test_a_missing_package_is_wrong_and_a_missing_optional_one_is_told_with_its_extra(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    installed = metadata.version

    def without(name: str) -> str:
        if name in ("pint", "pyarrow"):
            raise metadata.PackageNotFoundError(name)
        return "1.0" if name == "numpy" else installed(name)

    monkeypatch.setattr(metadata, "version", without)
    found = by_name(findings())
    assert found["pint"].state == BAD
    assert found["numpy"].state == BAD and "1.0, needed >=2" in found["numpy"].found
    assert (found["pyarrow"].state, found["pyarrow"].advice) == (
        OPTION,
        "pip install 'hocklift[parquet]'",
    )
    assert main(["doctor"]) == 1
    assert "pip install 'hocklift[parquet]'" in capsys.readouterr().out


def test_ports_are_told_and_none_of_them_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opening a port can restart an ESP32 board (MicroPython issue #18001)."""
    port = tmp_path / "ttyACM0"
    port.touch(mode=0o600)
    listed = [SimpleNamespace(device=str(port), description="Board", vid=0x2E8A)]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: listed)
    monkeypatch.setattr("serial.Serial", lambda *_, **__: pytest.fail("a port was opened"))
    assert by_name(findings())[str(port)] == Finding("ports", str(port), "USB, Board")
    monkeypatch.setattr("os.access", lambda path, _: path != str(port))
    refused = by_name(findings())[str(port)]
    assert refused.state == BAD and "join the group" in refused.advice


def test_without_a_board_it_is_well_and_says_how_to_go_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["doctor", "--json"]) == 0
    said = document_of("doctor", capsys.readouterr().out)
    rows = {row["what"]: row for row in said["findings"]}
    assert rows["a board on USB"]["state"] == OPTION
    assert "--port sim" in rows["a board on USB"]["advice"]
    assert {row["state"] for row in said["findings"]} <= {GOOD, OPTION}


def test_the_version_is_the_one_that_the_board_says(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"hocklift {legboard.VERSION}\n"
