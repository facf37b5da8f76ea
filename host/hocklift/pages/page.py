"""Pages from templates: self-contained HTML, all of one look."""

from typing import Any

import jinja2

_TEMPLATES = jinja2.Environment(
    loader=jinja2.PackageLoader("hocklift.pages"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def render(template: str, **values: Any) -> str:
    """Fill a template of the package."""
    return _TEMPLATES.get_template(template).render(**values)
