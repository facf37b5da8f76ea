"""The inks of all pages, against WCAG 2.2 and a published model of colour-blind eyes.

Contrast: WCAG 2.2 (W3C Recommendation), relative luminance and contrast ratio, success criteria
1.4.3 (words, 4.5 to 1) and 1.4.11 (lines, 3 to 1). Colour-blind eyes: Machado, Oliveira &
Fernandes 2009, IEEE TVCG 15(6), 1291-1298, doi 10.1109/TVCG.2009.113, its matrices for severity
1.0, as public programs quote them. How far two colours are apart: CIE 1976 L*a*b* (ISO/CIE
11664-4), white point D65, sRGB by IEC 61966-2-1 (numbers from memory).
"""

import re
from itertools import combinations

import numpy as np
import pytest
from hocklift.pages.page import LOOK

_CSS = (LOOK / "inks.css").read_text(encoding="utf-8")
_ROOTS = re.findall(r":root \{(.*?)\}", _CSS, re.DOTALL)
_NAMED = [dict(re.findall(r"--(\w+): (#[0-9a-f]+)", one)) for one in _ROOTS]
THEMES = dict(zip(("light", "dark", "print"), _NAMED, strict=True))
WORDS = ("ink", "quiet", "good", "bad", "blue", "red")
GROUNDS = ("paper", "soft")

PROTANOPIA = (
    (0.152286, 1.052583, -0.204868),
    (0.114503, 0.786281, 0.099216),
    (-0.003882, -0.048116, 1.051998),
)
DEUTERANOPIA = (
    (0.367322, 0.860646, -0.227968),
    (0.280085, 0.672501, 0.047413),
    (-0.011820, 0.042940, 0.968881),
)
EYES = {"usual": np.eye(3), "protanopia": PROTANOPIA, "deuteranopia": DEUTERANOPIA}
# A just noticeable difference is some 2.3 (Mahy et al. 1994, from memory); lines are thin.
APART = 30.0


def linear(colour):
    """Red, green and blue of a written colour, 0 to 1, as light adds."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    share = np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def contrast(one, other):
    lights = sorted(float(linear(each) @ (0.2126, 0.7152, 0.0722)) for each in (one, other))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(light):
    to_xyz = (
        (0.4124564, 0.3575761, 0.1804375),
        (0.2126729, 0.7151522, 0.0721750),
        (0.0193339, 0.1191920, 0.9503041),
    )
    x, y, z = np.array(to_xyz) @ np.clip(light, 0, 1) / (0.95047, 1.0, 1.08883)
    f = [t ** (1 / 3) if t > (6 / 29) ** 3 else t * (29 / 6) ** 2 / 3 + 4 / 29 for t in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def apart(one, other, eyes):
    matrix = np.array(EYES[eyes])
    return float(np.linalg.norm(lab(matrix @ linear(one)) - lab(matrix @ linear(other))))


def test_the_formulas_give_the_published_ends():
    # WCAG: black on white is 21 to 1; #767676 is the lightest grey that passes 4.5 on white.
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") > 4.5 > contrast("#777777", "#ffffff")
    # White is white to all eyes; pure red in L*a*b* (Lindbloom's tables): 53.24, 80.09, 67.20.
    for matrix in (PROTANOPIA, DEUTERANOPIA):
        np.testing.assert_allclose(np.sum(matrix, axis=1), 1, atol=2e-6)
    np.testing.assert_allclose(lab(linear("#ff0000")), (53.24, 80.09, 67.20), atol=0.02)


@pytest.mark.parametrize("theme", THEMES)
def test_words_in_every_ink_can_be_read_on_every_ground(theme, record_property):
    inks = THEMES["light"] | THEMES[theme]
    ratios = {(ink, on): contrast(inks[ink], inks[on]) for ink in WORDS for on in GROUNDS}
    record_property(f"least contrast, {theme}", f"{min(ratios.values()):.2f}")
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("eyes", EYES)
def test_left_and_right_are_told_apart_by_all_eyes(theme, eyes, record_property):
    inks = THEMES["light"] | THEMES[theme]
    far = apart(inks["blue"], inks["red"], eyes)
    record_property(f"left from right, {theme}, {eyes}", f"{far:.0f}")
    assert far > APART
    # From the ink of the axes, too.
    for one, other in combinations(("blue", "red", "ink"), 2):
        assert apart(inks[one], inks[other], eyes) > APART / 2
