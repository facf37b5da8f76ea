"""Spring wire: how strong and how stiff each kind is."""

from math import inf, pow
from typing import NamedTuple


class Strength(NamedTuple):
    """Tensile strength A / d^m with d in mm, for diameters up to `largest_mm`."""

    largest_mm: float
    A_MPa: float
    m: float


class Wire(NamedTuple):
    """Strengths by diameter, least first, and what share of them may be used."""

    least_mm: float
    strengths: tuple[Strength, ...]
    shear_share: float
    bending_share: float


# Strengths: Shigley, Table 10-4, stainless of type 302; shear shares: Table 10-6; bending
# shares: [spring-life].
WIRES = {
    "music wire": Wire(0.10, (Strength(6.5, 2211, 0.145),), 0.45, 0.75),
    "hard-drawn steel": Wire(0.7, (Strength(12.7, 1783, 0.190),), 0.45, 0.75),
    "oil-tempered steel": Wire(0.5, (Strength(12.7, 1855, 0.187),), 0.50, 0.75),
    "chrome-vanadium": Wire(0.8, (Strength(11.1, 2005, 0.168),), 0.50, 0.75),
    "chrome-silicon": Wire(1.6, (Strength(9.5, 1974, 0.108),), 0.50, 0.75),
    "stainless steel": Wire(
        0.3,
        (Strength(2.5, 1867, 0.146), Strength(5, 2065, 0.263), Strength(10, 2911, 0.478)),
        0.35,
        0.55,
    ),
}

# Pairs of largest diameter in mm and shear modulus in GPa. Those without a strength above and
# the last two, which are wires to European standards, from [spring-moduli]; the rest from
# Shigley, Table 10-5.
MODULI_GPa = {
    "music wire": ((0.82, 82.7), (1.61, 81.7), (3.18, 81.0), (inf, 80.0)),
    "hard-drawn steel": ((0.82, 80.7), (1.61, 80.0), (3.18, 79.3), (inf, 78.6)),
    "oil-tempered steel": ((inf, 77.2),),
    "chrome-vanadium": ((inf, 77.2),),
    "chrome-silicon": ((inf, 77.2),),
    "stainless steel": ((inf, 69.0),),
    "stainless 17-7 PH": ((inf, 72.4),),
    "EN 10270-1": ((inf, 81.5),),
    "EN 10270-2": ((inf, 79.5),),
}

# Cycles, and the share of tensile strength that shear may reach again and again from zero:
# the least over the wires above, not shot-peened.
LIFE_SHARES = ((1e5, 0.35), (1e6, 0.33), (1e7, 0.30))


def _mm(diameter_m: float) -> float:
    """Diameter in mm without the rounding of a float, so that 2.5 mm is not beyond 2.5."""
    return round(diameter_m * 1000, 6)


def _wire(kind: str) -> Wire:
    if kind not in WIRES:
        raise ValueError(f"no strength is known of {kind}; it is of {', '.join(WIRES)}")
    return WIRES[kind]


def tensile_strength_Pa(kind: str, diameter_m: float) -> float:
    """Least tensile strength of spring wire, A / d^m [shigley].

    A and m by kind of wire, d wire diameter, inside the diameters of the table. A standard for
    chrome-vanadium has up to 8 % less: the supplier's certificate goes before this.
    """
    wire, diameter_mm = _wire(kind), _mm(diameter_m)
    largest_mm = wire.strengths[-1].largest_mm
    if not wire.least_mm <= diameter_mm <= largest_mm:
        raise ValueError(
            f"the strength of {kind} is known from {wire.least_mm:g} to {largest_mm:g} mm, "
            f"not at {diameter_mm:g} mm"
        )
    row = next(row for row in wire.strengths if diameter_mm <= row.largest_mm)
    return row.A_MPa * 1e6 / pow(diameter_mm, row.m)


def shear_modulus_Pa(kind: str, diameter_m: float) -> float:
    """Shear modulus G of spring wire by kind and diameter [shigley], others [spring-moduli].

    At room temperature; tables differ by 3 %.
    """
    if kind not in MODULI_GPa:
        raise ValueError(f"no modulus is known of {kind}; it is of {', '.join(MODULI_GPa)}")
    bands = MODULI_GPa[kind]
    return next(modulus for largest_mm, modulus in bands if _mm(diameter_m) <= largest_mm) * 1e9


def allowable_shear_Pa(kind: str, diameter_m: float) -> float:
    """Shear stress that a coil may stand in, seldom changing, before it takes a set [shigley].

    35 to 50 % of tensile strength, for a spring that was not pressed solid at the maker's.
    """
    return _wire(kind).shear_share * tensile_strength_Pa(kind, diameter_m)


def allowable_cyclic_shear_Pa(kind: str, diameter_m: float, cycles: float) -> float:
    """Shear stress that a coil may reach from zero so many times [spring-life].

    35 % of tensile strength up to 100 000 cycles, 33 % to a million, 30 % to ten million; not
    shot-peened, no rust, no scratches. A spring that keeps a preload lasts longer.
    """
    if cycles > LIFE_SHARES[-1][0]:
        raise ValueError(f"no strength is known beyond {LIFE_SHARES[-1][0]:g} cycles")
    share = next(share for most, share in LIFE_SHARES if cycles <= most)
    return share * tensile_strength_Pa(kind, diameter_m)


def allowable_hook_bending_Pa(kind: str, diameter_m: float) -> float:
    """Bending stress that the hook of an extension spring may stand in [spring-life].

    75 % of tensile strength, 55 % for stainless; seldom changing.
    """
    return _wire(kind).bending_share * tensile_strength_Pa(kind, diameter_m)
