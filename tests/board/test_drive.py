"""What is done to the outputs, and in which order."""

import sys
import types

import pytest


class Noting:
    """A pin or a pulse that notes what it is told."""

    def __init__(self, told, name):
        self.told = told
        self.name = name

    def __call__(self, level):
        self.told.append((self.name, level))

    def duty_ns(self, width_ns):
        self.told.append((self.name, width_ns))


@pytest.fixture
def drive(monkeypatch):
    """The board's drive on pins that note, and what they were told since it was made."""
    told = []

    def pin(number, mode=None, value=None):
        if value is not None:
            told.append(("contactor", value))
        return Noting(told, "contactor") if mode else number

    def pulse(number, freq, duty_ns):
        name = {1: "left", 2: "right"}[number]
        told.append((name, freq, duty_ns))
        return Noting(told, name)

    machine = types.ModuleType("machine")
    pin.OUT = 1
    machine.__dict__.update(Pin=pin, PWM=pulse)
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.delitem(sys.modules, "legboard.drive", raising=False)
    from legboard.drive import Drive

    pins = types.SimpleNamespace(CONTACTOR=3, LEFT_PULSE=1, RIGHT_PULSE=2)
    made = Drive(pins)
    monkeypatch.delitem(sys.modules, "legboard.drive")
    assert told == [("contactor", 0), ("left", 50, 1500000), ("right", 50, 1500000)]
    told.clear()
    return made, told


NEUTRAL = [("contactor", 0), ("left", 1500000), ("right", 1500000)]


def test_power_goes_first_and_comes_last(drive):
    made, told = drive
    made.give(1600, 1450)
    assert told == [("left", 1600000), ("right", 1450000), ("contactor", 1)]
    told.clear()
    made.neutral()
    made.neutral()
    assert told == NEUTRAL + NEUTRAL


@pytest.mark.parametrize("pulses", [(0, 1500), (1500, 0), (0, 0)])
def test_a_pulse_of_no_width_is_no_pulse_and_no_power(drive, pulses):
    """A core that was never stepped has none to give; hardware would freeze its last level."""
    made, told = drive
    made.give(*pulses)
    assert told == NEUTRAL
