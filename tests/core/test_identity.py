"""One source, one behaviour: every form of the core goes through the same states, to the bit.

What the simulator shows, what a log replays and what the board does are then the same thing.
"""

from forms import compiled, first_difference


def test_the_compiled_core_goes_through_the_same_states(kind, streams, reference):
    assert not first_difference(kind, compiled(kind, streams), reference)


def test_native_code_on_64_bit_micropython_goes_through_the_same_states(
    kind, on_64_bit_native, reference
):
    assert not first_difference(kind, on_64_bit_native.trace, reference), on_64_bit_native.output


def test_bytecode_on_64_bit_micropython_goes_through_the_same_states(
    kind, on_64_bit_bytecode, reference
):
    assert not first_difference(kind, on_64_bit_bytecode.trace, reference), (
        on_64_bit_bytecode.output
    )


def test_32_bit_micropython_goes_through_the_same_states(kind, on_32_bit, reference):
    assert not first_difference(kind, on_32_bit.trace, reference), on_32_bit.output


def test_a_first_difference_names_its_tick_and_its_fields(kind, reference):
    changed = reference[:100].copy()
    changed[40:, 2] += 1
    assert first_difference(kind, changed, reference[:100]).startswith("tick 40: ")
    assert first_difference(kind, reference[:99], reference[:100]) == "99 ticks instead of 100"
