"""No tick may take memory from the heap: one that does would some day collect garbage for 13 ms.

The runner locks the heap around every tick, and MicroPython raises where locked memory is asked
for.
"""

import forms
import pytest
from rewrites import SMALL_MAX


def test_every_tick_in_native_code_on_64_bit_micropython_leaves_the_heap_alone(on_64_bit_native):
    assert on_64_bit_native.output == ""


def test_every_tick_in_bytecode_on_64_bit_micropython_leaves_the_heap_alone(on_64_bit_bytecode):
    assert on_64_bit_bytecode.output == ""


def test_every_tick_on_32_bit_micropython_leaves_the_heap_alone(on_32_bit):
    assert on_32_bit.output == ""


# What would take memory, computed from a field so that no compiler folds it.
TAKES_MEMORY = {
    "a float": "rig.settings.visit_hz * 0.5",
    "a list": "[rig.arm]",
    "a string": "str(rig.arm)",
    "an integer past 63 bits": "rig.settings.visit_hz << 62",
}


def spoilt(kind, expression):
    """A step that runs the true one, and computes `expression` as well."""
    takes = ", ".join(part.record.lower() for part in kind.parts)
    return f"""

_{kind.step} = {kind.step}


@micropython.native
def {kind.step}({takes}):
    _{kind.step}({takes})
    {expression}
"""


def few_ticks(streams):
    settings, inputs = streams[0]
    return [(settings, inputs[:3])]


@pytest.mark.parametrize("expression", TAKES_MEMORY.values(), ids=TAKES_MEMORY.keys())
@pytest.mark.parametrize("decorator", [forms.NATIVE, forms.BYTECODE], ids=["native", "bytecode"])
def test_a_tick_that_takes_memory_is_caught_on_64_bit(
    tmp_path, kind, streams, decorator, expression
):
    broken = spoilt(kind, expression)
    run = forms.on_64_bit(tmp_path, kind, few_ticks(streams), decorator, broken)
    assert "MemoryError" in run.output


@pytest.mark.parametrize("expression", TAKES_MEMORY.values(), ids=TAKES_MEMORY.keys())
def test_a_tick_that_takes_memory_is_caught_on_32_bit(tmp_path, kind, streams, expression):
    run = forms.on_32_bit(tmp_path, kind, few_ticks(streams), spoilt(kind, expression))
    assert "MemoryError" in run.output


def test_the_limit_of_the_range_proof_is_where_32_bit_integers_go_to_the_heap(
    tmp_path, kind, streams
):
    """The largest small integer passes and the next one does not."""
    one = "rig.settings.visit_hz // rig.settings.visit_hz"
    outputs = []
    for i, largest in enumerate((f"{one} * {SMALL_MAX}", f"{one} * {SMALL_MAX} + 1")):
        folder = tmp_path / str(i)
        folder.mkdir()
        broken = spoilt(kind, largest)
        outputs.append(forms.on_32_bit(folder, kind, few_ticks(streams), broken).output)
    assert outputs[0] == ""
    assert "MemoryError" in outputs[1]
