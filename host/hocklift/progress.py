"""How far a long work is, on the terminal of whoever waits for it."""

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    SpinnerColumn,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)


def bar(console: Console, counted: str) -> Progress:
    """A bar that fills, so many `counted` ("s walked") of all; nothing where nobody looks."""
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn(f"{{task.completed:.0f}} of {{task.total:.0f}} {counted}"),
        TimeElapsedColumn(),
        TimeRemainingColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )


def spinner(console: Console) -> Progress:
    """What turns while a work goes on that nobody knows the length of."""
    return Progress(
        SpinnerColumn(),
        TextColumn("{task.description}"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
