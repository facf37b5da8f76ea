"""`hocklift completion`: print what a shell completes commands, options and files with."""

import argparse
import sys

from hocklift.cli import parser

# What stands for a file, by its name in the help; DIR stands for a folder.
_FILES = ("RIG", "LOG", "PORT", "FILE", "FILE.csv", "FILE.toml")


def run(args: argparse.Namespace) -> int:
    """Print the script; 0."""
    sys.stdout.write(script(args.shell))
    return 0


def script(shell: str) -> str:
    """The completion script for a shell, made from the parser of all commands."""
    import shtab

    tree = parser()
    for action in _all_actions(tree):
        if action.metavar == "DIR":
            action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]  # shtab's own
        elif action.metavar in _FILES:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
    made: str = shtab.complete(tree, shell)
    return made


def _all_actions(tree: argparse.ArgumentParser) -> list[argparse.Action]:
    """Every argument of a parser and of its commands."""
    found = []
    for action in tree._actions:
        found.append(action)
        if isinstance(action, argparse._SubParsersAction):
            found += [one for sub in action.choices.values() for one in _all_actions(sub)]
    return found
