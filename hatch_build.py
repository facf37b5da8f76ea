"""Build the manual into the package: in a wheel, from a sdist and for an editable install alike."""

from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class ManualHook(BuildHookInterface):
    """Runs mkdocs over docs/; a broken link or a missing picture ends the build."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called before a wheel is packed; `version` is standard or editable."""
        from mkdocs.commands.build import build
        from mkdocs.config import load_config

        build(load_config(str(Path(self.root, "mkdocs.yml"))))
