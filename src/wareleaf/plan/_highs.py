"""The only file that names the linear solver: HiGHS, fed with raw matrices."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Linear:
    """Minimise ``cost @ x`` with bounds on x and on sparse rows; some x may be whole numbers.

    Rows are in compressed form: row i has columns ``index[starts[i]:starts[i+1]]``.
    """

    cost: Floats
    lower: Floats
    upper: Floats
    row_lower: Floats
    row_upper: Floats
    starts: NDArray[np.int32]
    index: NDArray[np.int32]
    value: Floats
    integer: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class Solved:
    """Answer: ``optimal``, ``feasible``, ``infeasible``, ``unbounded`` or ``unknown``.

    ``bound`` is a proved lower limit of the objective; the duals are there for a plain LP.
    ``seconds`` is the solver's own count of its time.
    """

    status: str
    x: Floats | None
    objective: float
    bound: float
    row_dual: Floats | None = None
    col_dual: Floats | None = None
    seconds: float = 0.0


class Rows:
    """Collects sparse rows one by one."""

    def __init__(self) -> None:
        self.lower: list[float] = []
        self.upper: list[float] = []
        self._starts: list[int] = [0]
        self._index: list[NDArray[np.int32]] = []
        self._value: list[Floats] = []

    def add(self, lower: float, upper: float, index: object, value: object) -> int:
        """Add a row and return its number."""
        columns = np.asarray(index, dtype=np.int32)
        self._index.append(columns)
        self._value.append(np.asarray(value, dtype=np.float64))
        self._starts.append(self._starts[-1] + columns.size)
        self.lower.append(lower)
        self.upper.append(upper)
        return len(self.lower) - 1

    def model(
        self,
        cost: Floats,
        lower: Floats,
        upper: Floats,
        integer: NDArray[np.bool_] | None = None,
    ) -> Linear:
        """The rows with their columns' costs and bounds."""
        none_i, none_v = np.empty(0, dtype=np.int32), np.empty(0)
        return Linear(
            cost=cost,
            lower=lower,
            upper=upper,
            row_lower=np.array(self.lower),
            row_upper=np.array(self.upper),
            starts=np.array(self._starts, dtype=np.int32),
            index=np.concatenate([none_i, *self._index]).astype(np.int32),
            value=np.concatenate([none_v, *self._value]),
            integer=integer,
        )


def solve(
    model: Linear,
    *,
    time_limit_s: float = 10.0,
    start: Floats | None = None,
    relative_gap: float = 1e-6,
    seed: int = 1,
) -> Solved:
    """Solve an LP or, with whole numbers, a MILP.

    A start is handed over with every column given; the solver silently drops one that breaks a
    row, so the caller keeps its own copy.
    """
    import highspy

    inf = highspy.kHighsInf
    h = _quiet()
    h.setOptionValue("time_limit", float(time_limit_s))
    h.setOptionValue("threads", 2)
    h.setOptionValue("random_seed", seed)
    h.setOptionValue("mip_rel_gap", relative_gap)
    lp = highspy.HighsLp()
    lp.num_col_ = model.cost.size
    lp.num_row_ = model.row_lower.size
    lp.col_cost_ = model.cost
    lp.col_lower_ = np.maximum(model.lower, -inf)
    lp.col_upper_ = np.minimum(model.upper, inf)
    lp.row_lower_ = np.maximum(model.row_lower, -inf)
    lp.row_upper_ = np.minimum(model.row_upper, inf)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = model.starts
    lp.a_matrix_.index_ = model.index
    lp.a_matrix_.value_ = model.value
    whole = model.integer is not None and bool(model.integer.any())
    if whole:
        assert model.integer is not None
        lp.integrality_ = [
            highspy.HighsVarType.kInteger if i else highspy.HighsVarType.kContinuous
            for i in model.integer
        ]
    h.passModel(lp)
    if start is not None:
        known = highspy.HighsSolution()
        known.col_value = [float(v) for v in start]
        h.setSolution(known)
    with _ONE_AT_A_TIME:
        _run(h)
        status = h.getModelStatus()
        if status == highspy.HighsModelStatus.kUnboundedOrInfeasible:
            h.setOptionValue("presolve", "off")
            _run(h)
            status = h.getModelStatus()
    return _answer(h, status, whole)


# The solver's threads are one pool for the whole process.
_ONE_AT_A_TIME = threading.Lock()


def _run(h: Any) -> None:
    """Run; where somebody else made the pool with another number of threads, make it anew.

    The solver takes that for an error and answers nothing.
    """
    import highspy

    if h.run() == highspy.HighsStatus.kError:
        highspy.Highs.resetGlobalScheduler(True)
        h.run()


def _quiet() -> Any:
    """A solver that prints nothing, not even its banner while it is being made."""
    import highspy

    base: Any = highspy.Highs

    def silence_first(self: Any) -> None:
        self.setOptionValue("output_flag", False)
        base.enableCallbacks(self)

    return type("Quiet", (base,), {"enableCallbacks": silence_first})()


def _answer(h: Any, status: Any, whole: bool) -> Solved:
    import highspy

    names = {
        highspy.HighsModelStatus.kOptimal: "optimal",
        highspy.HighsModelStatus.kModelEmpty: "optimal",
        highspy.HighsModelStatus.kInfeasible: "infeasible",
        highspy.HighsModelStatus.kUnbounded: "unbounded",
    }
    word = names.get(status, "unknown")
    if word in ("infeasible", "unbounded"):
        return Solved(word, None, float("nan"), float("nan"), seconds=h.getRunTime())
    info, solution = h.getInfo(), h.getSolution()
    usable = info.primal_solution_status == int(highspy.SolutionStatus.kSolutionStatusFeasible)
    if word != "optimal" and not (whole and usable):
        bound = float(info.mip_dual_bound) if whole else -float("inf")
        return Solved("unknown", None, float("nan"), bound, seconds=h.getRunTime())
    if word != "optimal":
        word = "feasible"
    objective = float(info.objective_function_value)
    bound = float(info.mip_dual_bound) if whole else objective
    x = np.array(solution.col_value)
    if whole:
        return Solved(word, x, objective, bound, seconds=h.getRunTime())
    dual, reduced = np.array(solution.row_dual), np.array(solution.col_dual)
    return Solved(word, x, objective, bound, dual, reduced, h.getRunTime())
