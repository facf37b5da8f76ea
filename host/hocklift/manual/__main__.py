"""Write the generated pages and pictures of the manual anew, then the examples of its pages.

`python -m hocklift.manual` for all, or with the names of pages as in `first-evening.md`; run it in
a copy of the sources. README's examples are kept in the same way.
"""

import sys
import tempfile
from pathlib import Path

from hocklift.files import write_atomically
from hocklift.manual.generated import PAGES, pictures
from hocklift.tour import examples, renewed, run

DOCS, README = Path("docs"), Path("README.md")


def main() -> None:
    """Write what is named, or all."""
    names = sys.argv[1:]
    for name, made in PAGES.items():
        if not names or name in names:
            write_atomically(DOCS / name, made())
    if not names:
        for name, svg in pictures():
            write_atomically(DOCS / "pictures" / name, svg)
    for path in (*sorted(DOCS.glob("*.md")), README):
        page = path.read_text(encoding="utf-8")
        if examples(page) and (not names or path.name in names):
            with tempfile.TemporaryDirectory() as folder:
                write_atomically(path, renewed(page, run(page, Path(folder))))


if __name__ == "__main__":
    main()
