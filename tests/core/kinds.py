"""What a board may have, legs alone or legs and wings: all that the proofs need to know of it."""

from dataclasses import dataclass
from functools import cached_property, partial
from importlib import import_module
from operator import attrgetter

from fields import get, names, put, ranges, slots
from legcore.wing_model import RECORDS

SIDES = ("left", "right")
LEG_INPUTS = ("thigh.count", "shank.count", "switch", "sole")
WING_INPUTS = ("pot.count", "command.count")
# What the board says of itself, and whatever it has of a stick and a host.
BOARD_INPUTS = (
    *("arm", "stop", "settings_bad", "was_hung", "missed_ticks", "battery_mV", "supply_mV"),
    *("stick_count", "host", "host_heard"),
)
# The core takes these in, and clears them.
TAKEN = ("was_hung", "host_heard")


@dataclass(frozen=True)
class Part:
    """One record that a board has: its settings, which come first, and then its state."""

    record: str
    settings: str
    # Before each of its names, where a board has several records.
    prefix: str

    @cached_property
    def count(self):
        """How many of its integers are settings."""
        assert RECORDS[self.record][0] == ("settings", self.settings)
        return len(names(self.settings))


@dataclass(frozen=True)
class Kind:
    """A kind of board. What `step` does in a tick, every proof asks of it."""

    name: str
    module: str
    step: str
    parts: tuple[Part, ...]
    inputs: tuple[str, ...]

    @cached_property
    def setting_names(self):
        return [part.prefix + name for part in self.parts for name in names(part.settings)]

    @cached_property
    def setting_ranges(self):
        return tuple(pair for part in self.parts for pair in ranges(part.settings))

    @cached_property
    def state_names(self):
        """What a tick may change: every integer of its records that is no setting."""
        return [
            part.prefix + name for part in self.parts for name in names(part.record)[part.count :]
        ]

    @cached_property
    def state_ranges(self):
        return tuple(pair for part in self.parts for pair in ranges(part.record)[part.count :])

    @cached_property
    def input_words(self):
        """For each input, the words of the state that take it; legs and wings share some."""
        places = {name: i for i, name in enumerate(self.state_names)}
        return [
            [places[part.prefix + name] for part in self.parts if part.prefix + name in places]
            for name in self.inputs
        ]

    @cached_property
    def taken_inputs(self):
        return [name for name in self.inputs if name in TAKEN]


LEGS = Kind(
    "legs",
    "step",
    "step",
    (Part("Rig", "Settings", ""),),
    (*(f"{side}.{name}" for side in SIDES for name in LEG_INPUTS), *BOARD_INPUTS),
)
FRAME = Kind(
    "legs and wings",
    "wing_step",
    "step_frame",
    (*LEGS.parts, Part("Wings", "WingSettings", "wings.")),
    (*LEGS.inputs, *(f"wings.{side}.{name}" for side in SIDES for name in WING_INPUTS)),
)
KINDS = (LEGS, FRAME)


class Core:
    """The plain core of one kind of board: its objects, and what may be done with them."""

    def __init__(self, kind, settings=None, modules=None):
        """Settings are integers in the order of their names; `modules` are those of a copy."""
        self.kind = kind
        of = modules.__getitem__ if modules else lambda name: import_module(f"legcore.{name}")
        self.made = [of("model").make(part.record) for part in kind.parts]
        self.tick = partial(getattr(of(kind.module), kind.step), *self.made)
        self.settings = []
        self.state = []
        for made, part in zip(self.made, kind.parts, strict=True):
            every = slots(made, part.record)
            self.settings += every[: part.count]
            self.state += every[part.count :]
        self.inputs = [[self.state[word] for word in words] for words in kind.input_words]
        self.tellers = [attrgetter(*names(part.record)[part.count :]) for part in kind.parts]
        if settings is not None:
            self.put_settings(settings)

    def put_settings(self, settings):
        for slot, value in zip(self.settings, settings, strict=True):
            put(slot, value)

    def put_state(self, state):
        for slot, value in zip(self.state, state, strict=True):
            put(slot, value)

    def put_inputs(self, row):
        """Write one row of inputs, as the board does before a tick, and flip what it says."""
        for places, value in zip(self.inputs, row[:-2], strict=True):
            for place in places:
                put(place, value)
        self.flip(*row[-2:])

    def flip(self, word, bits):
        """Flip bits of the state's word number `word`, counted from 1; of none where that is 0."""
        if word:
            slot = self.state[word - 1]
            put(slot, get(slot) ^ bits)

    def tell(self):
        """Every integer of the state, in the order of its names."""
        told = []
        for made, teller in zip(self.made, self.tellers, strict=True):
            told += teller(made)
        return told
