"""A picture as a file of its own: in the inks of all pages, by day and by night."""

from importlib.resources import files

_SPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def standing_alone(svg: str) -> str:
    """The text of a file for an SVG that was made to sit inside a page."""
    inks = files("hocklift.pages").joinpath("look/inks.css").read_text(encoding="utf-8")
    head, rest = svg.replace("<svg", f"<svg {_SPACES}", 1).split(">", 1)
    return f"{head}>\n<style>\n{inks}svg {{ color: var(--ink); }}\n</style>{rest}\n"
