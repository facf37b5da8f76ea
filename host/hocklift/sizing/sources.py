"""Where the formulas and numbers come from: what the square brackets in docstrings mean."""

from typing import NamedTuple


class Source(NamedTuple):
    """A published work.

    Verified: what is used of it was read in it, or in a page or public program that quotes it.
    Otherwise it is from memory, and the docstrings that cite it say so.
    """

    citation: str
    verified: bool


SOURCES = {
    "shigley": Source(
        "R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering Design, 10th ed., "
        "McGraw-Hill 2015, chapters 10 (springs) and 14 (spur gears)",
        verified=True,
    ),
    "wahl": Source(
        "A. M. Wahl, Mechanical Springs, 2nd ed., McGraw-Hill 1963; formula as quoted in web pages",
        verified=True,
    ),
    "spring-moduli": Source(
        "Table of spring moduli, engineersedge.com; European wires from springcalc 0.1.24",
        verified=True,
    ),
    "spring-life": Source(
        "Spring material table of ODOP, a public design program: percent of tensile strength for "
        "shear of 100 000 to 10 million cycles, not shot-peened, and for bending of hooks",
        verified=True,
    ),
    "gas-springs": Source(
        "Web pages on gas springs: force by Boyle's law at any stroke (avmind.com), and force "
        "ratios of 1.2 to 1.4 (springinchina.com)",
        verified=True,
    ),
    "wheel-rate": Source(
        "Suspension wheel rate calculator with a worked example, machinecalcs.com",
        verified=True,
    ),
    "pipeline": Source(
        "Pipeline Rules of Thumb Handbook, section on block and tackle, page 6",
        verified=True,
    ),
    "toss": Source(
        "B. Toss, The Complete Rigger's Apprentice, page 56: sheaves for fibre rope",
        verified=True,
    ),
    "drum-winder": Source(
        "Drum winder calculator with its formulas, redcrab-software.com",
        verified=True,
    ),
    "eytelwein": Source(
        "Belt friction after L. Euler and J. A. Eytelwein, as in any text on statics",
        verified=True,
    ),
    "cordage-institute": Source(
        "Cordage Institute, International Guideline CI 1401-06, Safer Use of Fiber Rope, 2006",
        verified=True,
    ),
    "lewis-table": Source(
        "Lewis form factors of 20 degree full-depth teeth from 10 to 300 teeth, gearpy 1.3.1",
        verified=True,
    ),
    "mesh-efficiency": Source(
        "Efficiency of spur gear meshes, 95 to 98 % (howengineeringworks.com) and 96 to 99 % "
        "(rulesofthumb.info)",
        verified=True,
    ),
    "printed-nylon": Source(
        "C. N. Ilinca et al., Finite Element Analysis of 3D-Printed Gears, Materials 18 (2025), "
        "article 4530: strength of printed nylon",
        verified=True,
    ),
    "bhandari": Source(
        "V. B. Bhandari, Design of Machine Elements, McGraw-Hill: a third of tensile strength "
        "as permissible bending stress of steel teeth",
        verified=False,
    ),
    "hibbeler": Source(
        "R. C. Hibbeler, Mechanics of Materials, Pearson: shear, bearing, bending and torsion",
        verified=True,
    ),
    "roloff-matek": Source(
        "H. Wittel et al., Roloff/Matek Maschinenelemente, Springer: pin loose in fork and rod",
        verified=False,
    ),
    "eurocode-5": Source(
        "EN 1995-1-1:2004 (Eurocode 5), equation 8.32, as quoted by several public programs",
        verified=True,
    ),
    "motor-sheet": Source(
        "Published data sheet of a 48 V motor, whose constants confirm one another",
        verified=True,
    ),
    "copper": Source(
        "Motor control user guide SPRUHJ1I: temperature coefficient of copper",
        verified=True,
    ),
    "move-profiles": Source(
        "How to calculate velocity from triangular and trapezoidal move profiles, "
        "linearmotiontips.com",
        verified=True,
    ),
}


def sources_page() -> str:
    """The table of sources as a Markdown page."""
    rows = [
        f"| {key} | {source.citation} | {'verified' if source.verified else 'from memory'} |"
        for key, source in SOURCES.items()
    ]
    return "\n".join(
        [
            "# Sources of the sizing formulas",
            "",
            "Each formula names its source by the word in the first column, in its docstring and",
            "on the page that `hocklift size --out` writes. Verified: the figures were seen on a",
            "stored page or in a package, and the tests check them. From memory: not seen, so look",
            "it up before you trust your legs to it. `virtual-work` and `definition` need no",
            "source: they follow from mechanics.",
            "",
            "| word | source | |",
            "|---|---|---|",
            *rows,
            "",
        ]
    )


if __name__ == "__main__":
    print(sources_page(), end="")
