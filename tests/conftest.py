"""Settings for all tests, and the figures that they measure."""

import pytest
from hypothesis import settings

# The same examples in every run, so that a red test is red for everybody; a slow machine
# is no failure.
settings.register_profile("hocklift", derandomize=True, deadline=None)
settings.load_profile("hocklift")


@pytest.fixture(scope="session", autouse=True)
def nobodys_board(tmp_path_factory):
    """No test finds the simulated board that whoever runs it has flashed."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


def pytest_terminal_summary(terminalreporter):
    """Print what tests measured and noted with `record_property`, passed or not."""
    reports = terminalreporter.stats.get("passed", []) + terminalreporter.stats.get("failed", [])
    figures = [figure for report in reports for figure in report.user_properties]
    if figures:
        terminalreporter.section("measured")
    for name, value in figures:
        terminalreporter.line(f"{name}: {value}")
