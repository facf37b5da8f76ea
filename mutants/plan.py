"""Which files are changed, which tests must notice, and how many changes have to be noticed."""

from pathlib import Path

TOP = Path(__file__).parent.parent
CORE = TOP / "firmware" / "legcore"
TESTS = TOP / "tests" / "core"

# Of a hundred changes, so many must make a test fail.
LEAST_PERCENT = 95.0
# A change after which the tests take so much of the processor is noticed: they would never end.
MOST_S = 8

# What the sources themselves must be like.
RULES = ("test_rules.py",)
# File of the core -> its tests, in the order in which they run. None of them compares with what the
# unchanged core has once done; each says what should be, and why.
FILES = {
    "watch.py": ("test_watch.py",),
    "supervise.py": ("test_supervisor.py",),
    "limits.py": ("test_limits.py",),
    "estimate.py": ("test_estimate.py",),
    "arming.py": ("test_blocks.py", "test_tables.py"),
    "validity.py": ("test_validity.py",),
    "phases.py": ("test_tables.py",),
    "stages.py": ("test_tables.py",),
    "faults.py": ("test_tables.py",),
    "wing_watch.py": ("test_wing_watch.py",),
    "wing_supervise.py": ("test_wing_supervisor.py", "test_tables.py"),
    "wing_phases.py": ("test_tables.py",),
    "wing_faults.py": ("test_tables.py",),
}
# It runs the core on MicroPython, which is slow and says nothing that the others do not.
LEFT_OUT = "test_validity.py::test_a_board_vets_its_settings_in_the_same_words"
# Their functions run only as they are imported, to make tables.
TABLES = {"phases.py", "faults.py", "stages.py", "wing_phases.py", "wing_faults.py"}
