"""Pages from templates: self-contained HTML, all of one look."""

from functools import cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

_TEMPLATES = jinja2.Environment(
    loader=jinja2.PackageLoader("hocklift.pages"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
# What pages are made of beside their templates: inks, style, and what moves the legs.
LOOK = resources.files("hocklift.pages") / "look"


@cache
def _look(*names: str) -> Markup:
    """Files of the look as they are, to stand inside a page."""
    return Markup("".join((LOOK / name).read_text(encoding="utf-8") for name in names))


_TEMPLATES.globals["look"] = _look
# Numbers on a page are for its script: without blanks they are a third shorter.
_TEMPLATES.policies["json.dumps_kwargs"] = {"separators": (",", ":")}


def render(template: str, **values: Any) -> str:
    """Fill a template of the package."""
    return _TEMPLATES.get_template(template).render(**values)
