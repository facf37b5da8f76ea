"""A drill whose control core is blind to one row of the fault table.

The plant and the board stay compiled; the core is a private plain copy, whose judgement
forgets one bit as soon as it is set.
"""

from typing import Any

from legsim import core
from legsim.board import feed, ready
from legsim.drill import FEET, Case, Drill, Outcome
from legsim.loop import move, note
from legsim.rig import Rig
from legsim.run import Walk
from legsim.strike import strike_tick


class MaskedDrill(Drill):
    """Like `legsim.drill.Drill`, but the bits `masked` of the fault table never act."""

    def __init__(self, rig: Rig, masked: int) -> None:
        super().__init__(rig)
        self.modules = core.load(lambda function: function)
        self.core: Any = self.modules["model"].make("Rig")
        self.masked = masked
        for module, name in (("step", "judge"), ("supervise", "distrust")):
            self._mask(self.modules[module], name)

    def _mask(self, module: Any, name: str) -> None:
        judge = getattr(module, name)

        def blind(*arguments: Any) -> None:
            judge(*arguments)
            for part in (self.core, self.core.left, self.core.right):
                part.fault_bits &= ~self.masked

        setattr(module, name, blind)

    def outcome(self, case: Case) -> Outcome:
        """Run a case and work out what came of it."""
        walk = self.walk(case, self.strikes(case))
        crashed = self._run(walk)
        return self.judge(case, walk.trace, walk.troubles, crashed)

    def _run(self, walk: Walk) -> bool:
        """Run a walk to its end, the core in plain Python; whether its program failed."""
        step, record, state = self.modules["step"].step, walk.core[0], walk.state[0]
        board = (state, walk.rig[0], record, walk.words, walk.fresh, walk.sealed)
        for i, line in enumerate(walk.lines):
            for trouble in walk.troubles:
                strike_tick(trouble, record, walk.words, walk.state.view(float))
            move(state, walk.rig[0], record, line)
            record.arm = walk.arm[i]
            if ready(*board):
                core.from_record(walk.core, self.core)
                try:
                    step(self.core)
                except (ArithmeticError, IndexError):
                    state["board"]["crashed"] = 1.0
                walk.words[:] = core.integers(self.core, "Rig")
                feed(state["board"], record)
            self._note(walk, i)
        return bool(state["board"]["crashed"])

    def _note(self, walk: Walk, i: int) -> None:
        row, record, state = walk.trace[i], walk.core[0], walk.state[0]
        row["contactor"], row["fault_bits"] = record.contactor, record.fault_bits
        row["stick_count"] = record.stick_count
        for name in FEET:
            note(row[name], state[name], getattr(record, name))
