"""What mkdocs does besides: the words of the glossary explained, the inks of all pages."""

import re
from pathlib import Path
from typing import Any

from mkdocs.structure.files import File

_ROW = re.compile(r"^\| (?!word |---)(.+?) \| (.+?) \|$", re.MULTILINE)

# Also plain English: marked everywhere, they would hide the others.
_EVERYDAY = {
    *("asked", "batch", "build", "capacity", "case", "crew", "cut", "demand", "drawn", "drive"),
    *("kept", "margin", "missed", "parts", "period", "release", "round", "sight", "sink", "spared"),
    *("flash", "script", "set", "stall", "stick"),
    *("span", "stage", "stages", "stand", "stoop", "strike", "trial", "trouble", "visit", "want"),
}


def words(table: str) -> dict[str, str]:
    """Each word of the glossary's table, with what it means."""
    found = {}
    for names, meaning in _ROW.findall(table):
        for name in names.split(", "):
            found[name] = re.sub(r"[`*\"]", "", meaning)
    return found


def on_files(files: Any, *, config: Any) -> Any:
    """Called by mkdocs once: what lies with the code is in the site, too, inks and schemas."""
    code = Path(config.config_file_path).parent / "host/hocklift"
    for path in (code / "pages/look/inks.css", *sorted(code.glob("schemas/*.json"))):
        files.append(File.generated(config, path.name, content=path.read_text(encoding="utf-8")))
    return files


def on_page_markdown(markdown: str, *, page: Any, config: Any, files: Any) -> str:
    """Called by mkdocs for each page: a word of the glossary shows its meaning as a title."""
    if page.file.src_uri == "glossary.md":
        return markdown
    table = Path(config.docs_dir, "glossary.md").read_text(encoding="utf-8")
    titles = [
        f"*[{name}]: {meaning}" for name, meaning in words(table).items() if name not in _EVERYDAY
    ]
    return "\n\n".join([markdown, "\n".join(titles)])
