"""The page of sources says what the code says."""

from pathlib import Path

from hocklift.sizing.sources import sources_page

PAGE = Path(__file__).parents[2] / "docs/sources.md"


def test_the_page_of_sources_is_in_step_with_the_table():
    # To write it anew: python -m hocklift.sizing.sources > docs/sources.md
    assert PAGE.read_text(encoding="utf-8") == sources_page()
