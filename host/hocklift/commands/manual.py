"""`hocklift manual`: open the manual that was built with this installation."""

import argparse
from pathlib import Path

import hocklift.manual
from hocklift.errors import OutputError

SITE = Path(hocklift.manual.__path__[0], "site")


def run(args: argparse.Namespace) -> int:
    """Print where the manual is, and open it in a browser unless told not to."""
    page = SITE / "index.html"
    if not page.exists():
        raise OutputError(
            f"{page}: the manual is not there, which every install builds; install hocklift anew,"
            " in a copy of its sources with `pip install -e .`"
        )
    print(page)
    if not args.no_open:
        import webbrowser

        webbrowser.open(page.as_uri())
    return 0
