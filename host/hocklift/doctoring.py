"""What of hocklift is here: packages by what they are needed for, ports, the manual, folders."""

import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import platformdirs
from packaging.requirements import Requirement
from serial.tools import list_ports

from hocklift.commands.manual import SITE
from hocklift.simulated import board_words, kept_flash

# extra -> what it brings
OPTIONAL = {
    "sim": "a simulated board that is flashed and then kept",
    "parquet": "traces as Parquet: report --parquet",
    "study": "study --sensitivity and --cluster",
}
GOOD, OPTION, BAD = "ok", "not here, optional", "wrong"


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at: the state it is in, and what to do where it is not good."""

    topic: str
    what: str
    found: str
    state: str = GOOD
    advice: str = ""


def findings() -> list[Finding]:
    """Everything, in the order in which people read it. Opens no port: that can restart a board."""
    return [*_here(), *_packages(), *_ports(), *_folders()]


def _here() -> Iterator[Finding]:
    yield Finding("hocklift", "hocklift", metadata.version("hocklift"))
    yield Finding("hocklift", "Python", sys.version.split()[0])
    page = SITE / "index.html"
    if page.exists():
        yield Finding("hocklift", "manual", str(page))
    else:
        yield Finding("hocklift", "manual", "not built", BAD, "install hocklift anew")


def _packages() -> Iterator[Finding]:
    for line in metadata.requires("hocklift") or ():
        wanted = Requirement(line)
        if wanted.marker is None:
            yield _package(wanted, "packages", "", "pip install --upgrade hocklift")
            continue
        for extra, brings in OPTIONAL.items():
            if wanted.marker.evaluate({"extra": extra}):
                yield _package(wanted, "optional", brings, f"pip install 'hocklift[{extra}]'")


def _package(wanted: Requirement, topic: str, brings: str, advice: str) -> Finding:
    use = f", for {brings}" if brings else ""
    try:
        version = metadata.version(wanted.name)
    except metadata.PackageNotFoundError:
        return Finding(topic, wanted.name, f"none{use}", OPTION if brings else BAD, advice)
    if version in wanted.specifier:
        return Finding(topic, wanted.name, f"{version}{use}")
    return Finding(topic, wanted.name, f"{version}, needed {wanted.specifier}{use}", BAD, advice)


def _ports() -> Iterator[Finding]:
    ports = sorted(list_ports.comports(), key=lambda port: str(port.device))
    for port in ports:
        words = port.description if port.vid is None else f"USB, {port.description}"
        if os.name == "posix" and not os.access(port.device, os.R_OK | os.W_OK):
            advice = "on Linux, join the group that owns it, then log in again"
            yield Finding("ports", port.device, f"{words}; you may not use it", BAD, advice)
        else:
            yield Finding("ports", port.device, words)
    if not any(port.vid is not None for port in ports):
        advice = "plug a board in, with a cable that carries data; or use --port sim"
        yield Finding("ports", "a board on USB", "none", OPTION, advice)
    yield Finding("ports", "sim", board_words(kept_flash()))


def _folders() -> Iterator[Finding]:
    folders = {
        "compiled code": platformdirs.user_cache_path("hocklift", False),
        "simulated board": platformdirs.user_data_path("hocklift", False),
    }
    for what, folder in folders.items():
        there = next(path for path in (folder, *folder.parents) if path.exists())
        if os.access(there, os.W_OK) and Path(there).is_dir():
            yield Finding("folders", what, str(folder))
        else:
            advice = f"see that you may write to {there}"
            yield Finding("folders", what, f"{folder}; cannot be written", BAD, advice)
