"""An exhaustive search: every state that a supervisor can come to, by every answer to what it asks.

The supervisor itself is run. What it carries from tick to tick is the state of the search;
whatever else it reads may be anything at any time. A record leaves such a field open until the
supervisor asks for it; then the search takes each answer in turn.
"""

from collections import deque


class Record:
    """A record of the core of which some fields are known, and others are chosen when asked for."""

    def __init__(self, choose, options, **known):
        self.__dict__.update(known, choose=choose, options=options)

    def __getattr__(self, name):
        value = self.choose(self.options[name])
        setattr(self, name, value)
        return value


def every_way(run):
    """What `run(choose)` returns, once for each way in which its choices can fall."""
    trail = []
    while True:
        asked = 0

        def choose(options):
            nonlocal asked
            if asked == len(trail):
                trail.append([0, len(options)])
            asked += 1
            return options[trail[asked - 1][0]]

        yield run(choose)
        while trail and trail[-1][0] == trail[-1][1] - 1:
            trail.pop()
        if not trail:
            return
        trail[-1][0] += 1


class Search:
    """All states that may be found, the ways between them, and what went wrong.

    `tick(state, choose)` makes one step with `before` and `after`, `strikes(state)` tells what
    may be found next where `state` was left behind, and each check says whether a step is right.
    `combinations` are those that nobody should make, by name: how many steps met each is counted.
    """

    def __init__(self, start, strikes, tick, checks, combinations=None):
        self.came_from = dict.fromkeys(strikes(start))
        self.ways = 0
        self.checks = checks
        self.wrong = dict.fromkeys(checks)
        self.combinations = combinations or {}
        self.met = dict.fromkeys(self.combinations, 0)
        queue = deque(self.came_from)
        left_behind = {start}
        while queue:
            state = queue.popleft()
            for step in every_way(lambda choose, state=state: tick(state, choose)):
                self.ways += 1
                self.judge(step)
                if step.after in left_behind:
                    continue
                left_behind.add(step.after)
                for found in strikes(step.after):
                    if found not in self.came_from:
                        self.came_from[found] = state
                        queue.append(found)

    def judge(self, step):
        for check in self.checks:
            if self.wrong[check] is None and not check(step):
                self.wrong[check] = step
        for name, meets in self.combinations.items():
            self.met[name] += bool(meets(step))

    def told(self):
        """How large it was, for a person to read."""
        met = "".join(f"; {name}: {count}" for name, count in self.met.items())
        return f"{len(self.came_from)}, and {self.ways} ways from one to another{met}"

    def path(self, check):
        """What led to where a check fails, for a person to read."""
        step = self.wrong[check]
        state, lines = step.before, [f"-> {step.after}"]
        while state is not None:
            lines.append(str(state))
            state = self.came_from[state]
        return "\n".join(reversed(lines))
