"""A scenario of the file, played on the session's own panel step by step.

What its steps do is recorded as if hands did it, so that a step that fails can be walked back from,
asked why, and looked at rung by rung.
"""

from __future__ import annotations

from rungs.bench.session.session import Session
from rungs.program.nodes import Begin, Scenario
from rungs.scan.scenario import Broken, ScenarioPlayer, StepResult, begin_at


class Trial:
    """One scenario under way; `steps` holds the results so far."""

    def __init__(self, session: Session, scenario: Scenario) -> None:
        self.session = session
        self.scenario = scenario
        first = scenario.steps[0] if scenario.steps else None
        start = begin_at(first, session.panel.calendar) if isinstance(first, Begin) else None
        panel = session.play_from(start)
        self._player = ScenarioPlayer(panel)
        if start is None:
            panel.settle()
        session.played()
        self.steps: list[StepResult] = []

    @property
    def over(self) -> bool:
        """Whether every step has been played."""
        return len(self.steps) == len(self.scenario.steps)

    @property
    def broken(self) -> tuple[Broken, ...]:
        """The properties that broke meanwhile."""
        return tuple(self._player.broken)

    @property
    def failed(self) -> bool:
        """Whether an expectation failed or a property broke so far."""
        return bool(self.broken) or any(step.passed is False for step in self.steps)

    def step(self) -> StepResult | None:
        """Play the next step, in the present; None if there is none."""
        if self.over:
            return None
        self.session.to_present()
        result = self._player.play(self.scenario.steps[len(self.steps)])
        self.session.played()
        self.steps.append(result)
        return result

    def rest(self) -> None:
        """Play on to the end, or to the first step that fails."""
        broken = len(self.broken)
        while not self.over:
            result = self.step()
            if result is None or result.passed is False or len(self.broken) > broken:
                return
