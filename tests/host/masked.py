"""Drills whose control core is blind to one row of the fault table.

The plant and the board stay compiled; the core is a private plain copy, whose judgement
forgets one bit as soon as it is set.
"""

from collections.abc import Callable
from typing import Any

from legsim import core
from legsim.board import feed, ready
from legsim.drill import FEET, Case, Drill, Outcome
from legsim.loop import move, note
from legsim.rig import Rig
from legsim.run import Run
from legsim.strike import strike_tick
from legsim.wing.drill import WingCase, WingDrill, WingOutcome
from legsim.wing.loop import move_wings, note_wing
from legsim.wing.rig import WingRig


class BlindCore:
    """The core of one record in plain Python, but the bits `masked` never act."""

    def __init__(
        self,
        record: str,
        stepped: tuple[str, str],
        judged: tuple[tuple[str, str], ...],
        masked: int,
    ) -> None:
        """`stepped` is (module, function) of its tick, `judged` of those that set fault bits."""
        # Private, so that a test may exchange a function of it.
        modules = self.modules = core.load(lambda function: function)
        self.record = record
        self.plain: Any = modules["model"].make(record)
        self.masked = masked
        for module, name in judged:
            self._mask(modules[module], name)
        self.step: Callable[[Any], None] = getattr(modules[stepped[0]], stepped[1])

    def _mask(self, module: Any, name: str) -> None:
        judge = getattr(module, name)

        def blind(*arguments: Any) -> None:
            judge(*arguments)
            for part in (self.plain, self.plain.left, self.plain.right):
                part.fault_bits &= ~self.masked

        setattr(module, name, blind)

    def run(self, run: Run, move: Callable[..., None], note_row: Callable[..., None]) -> bool:
        """Run to the end; whether its program failed. `move` and `note_row` are of its kind."""
        record, state = run.core[0], run.state[0]
        board = (state, run.rig[0], record, run.words, run.fresh, run.sealed)
        for i, line in enumerate(run.lines):
            for trouble in run.troubles:
                strike_tick(trouble, record, run.words, run.state.view(float))
            move(state, run.rig[0], record, line)
            record.arm = run.arm[i]
            if ready(*board):
                core.from_record(run.core, self.plain, self.record)
                try:
                    self.step(self.plain)
                except (ArithmeticError, IndexError):
                    state["board"]["crashed"] = 1.0
                run.words[:] = core.integers(self.plain, self.record)
                feed(state["board"], record)
            row = run.trace[i]
            row["contactor"], row["fault_bits"] = record.contactor, record.fault_bits
            note_row(row, state, record)
        return bool(state["board"]["crashed"])


def _note_legs(row: Any, state: Any, record: Any) -> None:
    row["stick_count"] = record.stick_count
    for name in FEET:
        note(row[name], state[name], getattr(record, name))


def _note_wings(row: Any, state: Any, record: Any) -> None:
    for name in FEET:
        note_wing(row[name], state[name], getattr(record, name))


class MaskedDrill(Drill):
    """Like `legsim.drill.Drill`, but the bits `masked` of the fault table never act."""

    def __init__(self, rig: Rig, masked: int) -> None:
        super().__init__(rig)
        judged = (("step", "judge"), ("supervise", "distrust"))
        self.blind = BlindCore("Rig", ("step", "step"), judged, masked)

    def outcome(self, case: Case) -> Outcome:
        """Run a case and work out what came of it."""
        walk = self.walk(case, self.strikes(case))
        crashed = self.blind.run(walk, move, _note_legs)
        return self.judge(case, walk.trace, walk.troubles, crashed)


class MaskedWingDrill(WingDrill):
    """The same of wings."""

    def __init__(self, rig: WingRig, masked: int) -> None:
        super().__init__(rig)
        judged = (("wing_step", "judge_wing"), ("wing_supervise", "distrust"))
        self.blind = BlindCore("Wings", ("wing_step", "step_wings"), judged, masked)

    def outcome(self, case: WingCase) -> WingOutcome:
        """Run a case and work out what came of it."""
        show = self.show(case)
        crashed = self.blind.run(show, move_wings, _note_wings)
        return self.judge(show.trace, show.troubles, crashed)
