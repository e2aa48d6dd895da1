"""The day plan's solver model while it is being built: variables, cost terms and ticks."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from wareleaf.plan._problem import Problem, Recipe, Task

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

TICKS_PER_MIN = 200  # waits are counted in 0.3 s, so that limits off the grid are priced exactly


@dataclass
class TaskVars:
    """Start and end of a task and one literal per choice (none when it is fixed)."""

    task: Task
    start: Any
    end: Any
    literals: list[Any] = field(default_factory=list)


@dataclass
class Model:
    """The model while it is being built."""

    problem: Problem
    cp: cp_model.CpModel
    scale: float
    present: dict[tuple[str, int], Any] = field(default_factory=dict)
    tasks: dict[tuple[str, int], list[TaskVars]] = field(default_factory=dict)
    on_machine: dict[int, list[Any]] = field(default_factory=dict)
    uses: dict[int, list[tuple[Any, Any, Any, Recipe, float]]] = field(default_factory=dict)
    crew: list[tuple[Any, int, str]] = field(default_factory=list)
    terms: list[Any] = field(default_factory=list)
    constant: float = 0.0

    @property
    def per_slot(self) -> int:
        """Ticks of one slot."""
        return self.problem.grid_min * TICKS_PER_MIN

    def ticks(self, hours: float) -> int:
        """Hours in ticks, upwards (so that what exceeds them is counted low)."""
        return math.ceil(hours * 60.0 * TICKS_PER_MIN - 1e-6)

    def excess(self, price_per_h: float, beyond: Any, present: Any) -> None:
        """Price of the ticks by which an expression is above 0, when the part runs."""
        if price_per_h <= 0.0:
            return
        over = self.cp.new_int_var(0, self.problem.slots * self.per_slot, "over")
        self.cp.add(over >= beyond).only_enforce_if(present)
        self.add(price_per_h / (60.0 * TICKS_PER_MIN), over)

    def add(self, money: float, expression: Any) -> None:
        """Add a cost term, its coefficient rounded down."""
        coefficient = math.floor(money * self.scale + 1e-9)
        if coefficient:
            self.terms.append(coefficient * expression)
