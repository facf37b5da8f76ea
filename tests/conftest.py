"""Settings for all tests, and the figures that they measure."""

from hypothesis import settings

# The same examples in every run, so that a red test is red for everybody; a slow machine
# is no failure.
settings.register_profile("hocklift", derandomize=True, deadline=None)
settings.load_profile("hocklift")


def pytest_terminal_summary(terminalreporter):
    """Print what tests measured and noted with `record_property`, passed or not."""
    reports = terminalreporter.stats.get("passed", []) + terminalreporter.stats.get("failed", [])
    figures = [figure for report in reports for figure in report.user_properties]
    if figures:
        terminalreporter.section("measured")
    for name, value in figures:
        terminalreporter.line(f"{name}: {value}")
