"""What every page must be, read with the standard library's HTML parser."""

import re
from html.parser import HTMLParser

# Elements without an end.
_VOID = {"meta", "link", "br", "img", "input", "hr", "wbr"}


class Page(HTMLParser):
    """One page: its elements as (tag, attributes), its text by tag, and whether it nests."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.source = text
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.texts.append((self.open[-1] if self.open else "", " ".join(data.split())))

    @property
    def text(self) -> str:
        """All its words, style and scripts left out."""
        return " ".join(text for tag, text in self.texts if tag not in ("style", "script"))

    @property
    def scripts(self) -> str:
        """What runs on it, and what it runs over."""
        return " ".join(text for tag, text in self.texts if tag == "script")

    def all(self, tag: str) -> list[dict[str, str]]:
        """Attributes of all elements of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]

    def headings(self) -> list[str]:
        """Words of its second-level headings."""
        return [text for tag, text in self.texts if tag == "h2"]


def assert_self_contained(page: Page) -> None:
    """It asks for nothing, has a title and a language, unique ids, and words for every figure.

    What moves on it is part of it.
    """
    assert page.open == []
    assert page.source.startswith("<!doctype html>")
    assert not re.search(r"https?:|//\w|@import|url\((?!#)", page.source)
    assert not {"link", "img", "iframe", "base", "object"} & {tag for tag, _ in page.elements}
    assert not [a for _, a in page.elements if {"src", "srcset"} & a.keys()]
    assert {a["type"] for a in page.all("script")} <= {"module", "application/json"}
    assert not re.search(r"\b(import|fetch|XMLHttpRequest|WebSocket|sendBeacon)\b", page.scripts)
    assert page.all("html") == [{"lang": "en"}]
    # The page's own title comes first, then those of its pictures.
    assert [text for tag, text in page.texts if tag == "title"][:1] == [
        text for tag, text in page.texts if tag == "h1"
    ]
    assert len(page.all("caption")) == len(page.all("table"))
    ids = [a["id"] for _, a in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    inner = [a.get("href", a.get("xlink:href", "")) for _, a in page.elements]
    assert {link[1:] for link in inner if link.startswith("#")} <= set(ids)
    figures = [a for a in page.all("div") if a.get("role") == "img"]
    assert len(figures) == len(page.all("figure"))
    assert all(len(a["aria-label"]) > 30 for a in figures)
    assert "prefers-color-scheme: dark" in page.source
