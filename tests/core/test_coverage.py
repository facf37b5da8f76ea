"""Every branch of the core is taken either way by tests that say what it is for."""

import json
import subprocess
import sys
from pathlib import Path

import legcore

FOLDER = Path(__file__).parent
# Those that ask one part at a time. Walks, streams and nonsense take most branches, too, but what
# a branch is for can be read here.
TESTS = [
    *("test_watch.py", "test_supervisor.py", "test_release.py"),
    *("test_estimate.py", "test_limits.py", "test_law.py", "test_relay_law.py"),
    *("test_shared_setpoint.py", "test_tables.py", "test_blocks.py", "test_validity.py"),
    *("test_wing_watch.py", "test_wing_supervisor.py", "test_wing_command.py"),
]


def test_every_branch_of_the_core_is_taken_by_tests_of_its_parts(tmp_path):
    data = f"--data-file={tmp_path / 'coverage'}"
    measure = [sys.executable, "-m", "coverage"]
    core = Path(legcore.__file__).parent
    run = [*measure, "run", "--branch", f"--source={core}", data, "--rcfile="]
    run += ["-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [*run, *(str(FOLDER / name) for name in TESTS)], check=False, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-2000:]
    report = tmp_path / "coverage.json"
    told = [*measure, "json", "--quiet", data, "--rcfile=", f"-o{report}"]
    subprocess.run(told, check=True)
    files = json.loads(report.read_text())["files"]
    assert {Path(name).name for name in files} == {path.name for path in core.glob("*.py")}
    missing = {
        Path(name).name: (file["missing_lines"], file["missing_branches"])
        for name, file in files.items()
        if file["missing_lines"] or file["missing_branches"]
    }
    assert missing == {}
    assert not any(file["excluded_lines"] for file in files.values())
