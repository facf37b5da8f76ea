"""One self-contained page about a study, and all its builds as CSV."""

import csv
import io
from pathlib import Path

from legsim.figures import WANTS

from hocklift.files import write_atomically
from hocklift.pages.drawing import drawn
from hocklift.pages.page import render
from hocklift.pages.study_pictures import plans_of
from hocklift.studying.study import Study, missed_words, percent
from hocklift.studying.words import (
    COMES_FROM,
    EFFECT_COLUMNS,
    EFFECTS_WORDS,
    SHARE_COLUMNS,
    effect_cells,
    share_rows,
)

PAGE = "study.html"
BUILDS = "study.csv"

_CAUTIONS = (
    COMES_FROM,
    "Wants met by every build here make no rig safe: put every fault into it (hocklift drill), and"
    " try each protection on the stand.",
    "The springs of this rig hold energy that can break fingers, and its links have pinch points:"
    " block the legs before you reach in, and keep hands out of the links.",
    "A person in it can fall: have somebody hold you on a gantry or by hand long after it seems to"
    " work.",
    "Local codes and licensed practice take precedence over anything on this page.",
)


def write_page(study: Study, folder: Path) -> Path:
    """Write the builds and the page into `folder`; returns the page's path.

    The builds are written first: a page, once there, is complete.
    """
    page = render(
        "study.html.j2",
        study=study,
        share_columns=[heading.replace("\n", " ") for heading in SHARE_COLUMNS],
        share_rows=list(share_rows(study)),
        worst=[(ran, missed_words(ran)) for ran in study.worst],
        effects_words=EFFECTS_WORDS.rpartition(" The first")[0],
        effect_columns=[heading.replace("\n", " ") for heading in EFFECT_COLUMNS],
        effect_rows=[(effect_cells(effect), effect.tolerance.reason) for effect in study.effects],
        unmet=[(want, share) for want, share in study.wants if share.met < share.of],
        percent=percent,
        pictures=drawn(plans_of(study), study),
        cautions=_CAUTIONS,
        builds=BUILDS,
    )
    write_atomically(folder / BUILDS, builds_csv(study))
    write_atomically(folder / PAGE, page)
    return folder / PAGE


def builds_csv(study: Study) -> str:
    """One row a build: how far it misses each want, a share of what is asked, to the bit."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["seed", "met", *(want.name for want in WANTS), "faults"])
    for ran in study.ran:
        writer.writerow([ran.seed, int(ran.met), *map(repr, ran.missed), "; ".join(ran.faults)])
    return text.getvalue()
