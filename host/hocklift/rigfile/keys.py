"""Every key of a rig file, made from the declarations in legsim.rig and legsim.wing.rig.

A key is a field's name without its unit, since the unit stands beside the value.
"""

import re
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

from legsim.rig import SECTIONS, Rig
from legsim.wing.rig import WING_SECTIONS, WingRig

AnyRig = Rig | WingRig
_Rig = TypeVar("_Rig", bound=AnyRig)

# Where the plain rule would give two keys one name, or one that says too little.
_RENAMED = {
    "drive.no_load_V": "no_load_voltage",
    "controller.neutral_s": "neutral_pulse",
    "controller.neutral": "at_neutral",
    "sensors.lift_off_per_s": "lift_off_rate",
    "wearer.stirrup_N_per_m": "stirrup_stiffness",
    "wearer.stirrup_Ns_per_m": "stirrup_damping",
    "drive.winding_J_per_K": "winding_heat",
    "drive.case_J_per_K": "case_heat",
    "pins.yield_Pa": "pin_yield",
    "pins.plate_Pa": "plate_yield",
    "pins.timber_kg_per_m3": "timber_density",
    "hip.lean_spring_N_per_m": "lean_spring_rate",
    "hip.lean_spring_m": "lean_spring_arm",
    "hip.turn_Nm": "turn_torque",
    "hip.turn_rad": "turn_out",
}

_UNIT_ENDING = re.compile(
    "_(kg|m|rad|s|N|A|V|C|K|Pa|ohm|Nm|Nms|kgm2|radps|radps2|N_per_m|Ns_per_m|"
    "J_per_K|K_per_W|Nm_per_rad|kg_per_m3|radps_per_V|per_s|per_rad|per_rad_s|s_per_rad)$"
)


@dataclass(frozen=True)
class Key:
    """One line of a rig file: a number with its unit, or a word where `words` is not empty.

    `low` and `high` are in SI, ends included; `unit` is the one to show, "" for a plain
    number, which must be `whole` if so marked. A default that is a tuple marks a list;
    where `unknown`, that word may stand for a number, which is NaN then.
    """

    section: str
    field: str
    name: str
    default: float | str | tuple[float, ...]
    meaning: str
    unit: str = ""
    low: float = 0
    high: float = 0
    whole: bool = False
    unknown: bool = False
    words: tuple[str, ...] = ()

    @property
    def path(self) -> str:
        """What messages call it, as in "mechanism.thigh_length"."""
        return f"{self.section}.{self.name}"

    def of(self, rig: AnyRig) -> Any:
        """Its value in a rig: an SI number or a word."""
        return getattr(getattr(rig, self.section), self.field)


def _keys_of(rig: AnyRig, section: str) -> dict[str, Key]:
    keys = {}
    demo = getattr(rig, section)
    for declared in fields(demo):
        name = _RENAMED.get(f"{section}.{declared.name}", _UNIT_ENDING.sub("", declared.name))
        default = getattr(demo, declared.name)
        keys[name] = Key(section, declared.name, name, default, **declared.metadata)
    return keys


# Keys by section and name, in the order in which they are declared and written.
KEYS: dict[str, dict[str, Key]] = {section: _keys_of(Rig(), section) for section in SECTIONS}
WING_KEYS: dict[str, dict[str, Key]] = {
    section: _keys_of(WingRig(), section) for section in WING_SECTIONS
}

_ENTRY = re.compile(r"(\w+)\.(\w+?)(?:\[(\d+)\])?")


def key_at(path: str, keys: dict[str, dict[str, Key]] = KEYS) -> Key:
    """Look up a key by its path, as in "spring.rate" or, one entry, "gears.face[2]".

    KeyError if there is none.
    """
    match = _ENTRY.fullmatch(path)
    if match is None:
        raise KeyError(path)
    return keys[match[1]][match[2]]


def keys_of(rig: AnyRig) -> dict[str, dict[str, Key]]:
    """The keys of a rig's kind of file."""
    return WING_KEYS if isinstance(rig, WingRig) else KEYS


def value_at(rig: AnyRig, path: str) -> Any:
    """Return a rig's SI value or word at a path; entries of a list count from 1."""
    entry = _entry(path)
    value = key_at(path, keys_of(rig)).of(rig)
    return value if entry is None else value[entry]


def with_value_at(rig: _Rig, path: str, value: Any) -> _Rig:
    """Return the rig with another SI value or word at a path."""
    key, entry = key_at(path, keys_of(rig)), _entry(path)
    if entry is not None:
        entries = list(key.of(rig))
        entries[entry] = value
        value = tuple(entries)
    part = replace(getattr(rig, key.section), **{key.field: value})
    return replace(rig, **{key.section: part})


def _entry(path: str) -> int | None:
    match = _ENTRY.fullmatch(path)
    return int(match[3]) - 1 if match and match[3] else None
