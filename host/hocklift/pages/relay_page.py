"""One self-contained page about a relay experiment."""

from pathlib import Path

from hocklift.files import write_atomically
from hocklift.loops.first import KEYS
from hocklift.loops.swung import GAIN_NOTES, LEG_HEADINGS, Relay, gain_cells, leg_cells
from hocklift.pages.drawing import drawn
from hocklift.pages.page import render
from hocklift.pages.relay_pictures import PLANS
from hocklift.safety.cautions import BEFORE_MOTION

PAGE = "relay.html"


def write_page(relay: Relay, folder: Path) -> Path:
    """Write the page into `folder`; returns its path."""
    page = render(
        "relay.html.j2",
        relay=relay,
        leg_headings=LEG_HEADINGS,
        legs=[leg_cells(one) for one in relay.swung],
        gain_headings=["rule", *(key.name for key in KEYS), "", "source"],
        gains=[[first.rule.name, *gain_cells(first), first.rule.source] for first in relay.first],
        notes=GAIN_NOTES,
        pictures=drawn(PLANS, relay),
        cautions=BEFORE_MOTION,
    )
    write_atomically(folder / PAGE, page)
    return folder / PAGE
