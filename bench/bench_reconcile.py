"""Reconciliation of 100,000 streams against general solvers on the same balances, in one run.

Streams run between the nodes of 12 layers, 15 % of them skip layers, and border streams close the
first and last layer; true amounts balance, measurements have 2 % errors, one in twelve streams is
not measured and one has a gross error. *Near*: a node draws from neighbours of its season, as works
do. *Anywhere*: from any node of a layer, the worst case for elimination.

*Amounts alone* is the same problem on both sides (ours is ``reconciled_amounts``), from arrays that
are made already, in CPU time, the best of several. With *bounds* no amount may fall below zero, as
in the product. References: CVXPY, the problem stated in its own words and handed to the solver it
would choose itself for a quadratic program (OSQP) and to a second one (CLARABEL), at their default
accuracy; SciPy's sparse LU on the optimality conditions; and HiGHS without a modelling layer.
CVXPY's time is all of stating the problem and ``Problem.solve``, as its user waits for it, and the
ratio is of that; the note says how much of it is before the solver. A solver is given `LIMIT_S`;
when it stops there its time is a lower bound and the note says so. The note also says how far its
amounts lie from ours at most, in standard uncertainties of the measurements. Making our arrays from
`Flow` objects, which a caller in Python waits for too, has its own row.

*Everything*, in CPU time as well, adds classes, every uncertainty, all tests and the search for the
gross error. Its row with a reference scales up 50 exact solves of the LU to one a stream; ours is
exact for measured streams and simulated for the others, so that ratio is of two unlike ways. The
dense reference is NumPy on a problem of 1,200 streams. Peak memory is of Python and NumPy; SciPy's
LU inside is not counted.
"""

from __future__ import annotations

import time
import tracemalloc
import warnings
from dataclasses import replace

import cvxpy as cp
import highspy
import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from bench import Row
from wareleaf.book.reconcile import Flow, Problem, problem_of, reconcile, reconciled_amounts

LAYERS = 12
NEAR = 8
SEED = 31
LIMIT_S = 60.0
SOLVERS = {"OSQP": "time_limit", "CLARABEL": "time_limit"}
"""Solvers of CVXPY by the name of their time limit; the first is its own choice."""


def run() -> list[Row]:
    rows = []
    for name, near in (("near", NEAR), ("anywhere", None)):
        flows, _ = network(100_000, near)
        rows += _large(name, flows, near is not None)
    return rows + _small()


def network(streams: int, near: int | None) -> tuple[list[Flow], np.ndarray]:
    """Streams with true amounts that balance."""
    rng = np.random.default_rng(SEED)
    width = max(round(streams / (LAYERS * 3.28)), 4)
    wires: list[tuple[int, int]] = []
    for layer in range(1, LAYERS):
        for n in range(width):
            for _ in range(rng.integers(1, 5)):
                above = layer - 1
                if above and rng.random() < 0.15:
                    above = int(rng.integers(above))
                place = rng.integers(width) if near is None else n + rng.integers(-near, near + 1)
                wires.append((above * width + int(place) % width, layer * width + n))
    wires = wires[: streams - 2 * width]
    a, b = np.array(wires).T
    amount = rng.lognormal(3.0, 1.0, len(wires))
    nodes = LAYERS * width
    left = np.bincount(b, amount, nodes) - np.bincount(a, amount, nodes)
    ends = [(None, n) if left[n] < 0 else (n, None) for n in range(nodes) if abs(left[n]) > 0]
    true = np.concatenate([amount, np.abs(left[np.abs(left) > 0])])
    sd = 0.02 * true
    seen = true + sd * rng.standard_normal(len(true))
    seen[1234 % len(seen)] *= 3.0
    blind = rng.random(len(true)) < 1.0 / 12.0
    blind[1234 % len(seen)] = False
    flows = [
        Flow(
            f"s{k}",
            None if x is None else f"n{x}",
            None if y is None else f"n{y}",
            None if blind[k] else float(seen[k]),
            None if blind[k] else float(sd[k]),
        )
        for k, (x, y) in enumerate([*wires, *ends])
    ]
    return flows, true


def _arrays(flows: list[Flow]):
    number: dict[str, int] = {}
    rows, columns, values = [], [], []
    for k, f in enumerate(flows):
        for node, sign in ((f.start, -1.0), (f.end, 1.0)):
            if node is not None:
                rows.append(number.setdefault(node, len(number)))
                columns.append(k)
                values.append(sign)
    balance = sp.csc_array((values, (rows, columns)), shape=(len(number), len(flows)))
    y = np.array([f.measured or 0.0 for f in flows])
    weight = np.array([(f.standard_uncertainty or np.inf) ** -2.0 for f in flows])
    return balance, y, weight


def _conditions(flows: list[Flow]):
    """Optimality conditions: [W B'; B 0] [x; p] = [W y; 0]."""
    balance, y, weight = _arrays(flows)
    matrix = sp.block_array([[sp.diags_array(weight), balance.T], [balance, None]], format="csc")
    return matrix, np.concatenate([weight * y, np.zeros(balance.shape[0])])


def _timed(work):
    start = time.perf_counter()
    out = work()
    return time.perf_counter() - start, out


def _best(work, repeats: int = 3):
    """CPU time of the best of some calls, and what it gave."""
    found = []
    for _ in range(repeats):
        start = time.process_time()
        out = work()
        found.append((time.process_time() - start, out))
    return min(found, key=lambda each: each[0])


def _large(name: str, flows: list[Flow], near: bool) -> list[Row]:
    ours_s, out = _best(lambda: reconcile(flows), 1)
    note = f"{len(flows):,} streams; uncertainties " + (
        f"partly from {out.simulated} simulations" if out.simulated else "exact"
    )
    assert any(s.name == f"s{1234 % len(flows)}" for s in out.suspects)
    rows = [Row(f"{name}: everything", 1e3 * ours_s, None, None, "ms", "<= 10000", note)]
    if near:
        rows += _against(name, flows, ours_s)
        tracemalloc.start()
        reconcile(flows)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        rows.append(Row(f"{name}: peak memory", peak, None, None, "MB"))
    return rows


def _against(name: str, flows: list[Flow], ours_s: float) -> list[Row]:
    # the references need every amount to be determined: what nobody can say gets a wide guess
    flows = [
        Flow(f.name, f.start, f.end, 1.0, 1e4) if s.kind == "unobservable" else f
        for f, s in zip(flows, reconcile(flows, nonnegative=False).flows, strict=True)
    ]
    arrays_s, problem = _best(lambda: problem_of(flows, {}, True))
    alone_s, x = _best(lambda: _ours(problem, False), 5)
    bounded_s, above = _best(lambda: _ours(problem, True), 5)
    matrix, right = _conditions(flows)
    lu_s, (lu, theirs) = _best(lambda: _lu(matrix, right))
    apart = float(np.abs(theirs[: len(x)] - x).max() / np.abs(x).max())
    each_s = _timed(lambda: lu.solve(np.eye(matrix.shape[0], 50)))[0] / 50
    all_s = lu_s + each_s * len(flows)
    program_s, status = _best(lambda: _program(flows), 1)
    return [
        Row(f"{name}: arrays from the streams", 1e3 * arrays_s, None, None, "ms"),
        *(_modelled(name, solver, flows, x, alone_s, bounds=False) for solver in SOLVERS),
        *(_modelled(name, solver, flows, above, bounded_s, bounds=True) for solver in SOLVERS),
        Row(f"{name}: amounts alone, sparse LU", 1e3 * alone_s, 1e3 * lu_s, lu_s / alone_s, "ms"),
        Row(f"{name}: amounts with bounds, HiGHS", 1e3 * bounded_s, 1e3 * program_s,
            program_s / bounded_s, "ms", "", f"HiGHS: {status}, given {LIMIT_S:g} s"),
        Row(f"{name}: difference in amounts", apart, None, None, "-", "<= 1e-6"),
        Row(f"{name}: everything, sparse LU", 1e3 * ours_s, 1e3 * all_s, all_s / ours_s,
            "ms", "", "theirs scaled up, all exact; ours partly simulated"),
    ]  # fmt: skip


def _modelled(
    name: str, solver: str, flows: list[Flow], ours: np.ndarray, ours_s: float, bounds: bool
) -> Row:
    """The same problem in CVXPY."""
    balance, y, weight = _arrays(flows)
    seen = np.flatnonzero(weight > 0)
    scale = np.sqrt(weight[seen])

    def stated():
        x = cp.Variable(len(flows), nonneg=bounds)
        misfit = cp.multiply(scale, x[seen] - y[seen])
        return cp.Problem(cp.Minimize(cp.sum_squares(misfit)), [balance @ x == 0]), x

    def solve():
        program, x = stated()
        return program, x, _solve(program, solver)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of inaccurate amounts; the note says how far off
        theirs_s, (program, x, stopped) = _best(solve, 5)
        before_s, _ = _best(lambda: stated()[0].get_problem_data(solver))
    note = f"CVXPY {cp.__version__}: {stopped or program.status}, {1e3 * before_s:.0f} ms before it"
    if x.value is not None:
        note += f", off by {np.abs((x.value - ours)[seen] * scale).max():.1g} sd"
    if stopped:
        note += f"; stopped at its limit of {LIMIT_S:g} s: a lower bound"
    what = "with bounds" if bounds else "alone"
    target = ">= 20" if solver == next(iter(SOLVERS)) else ""
    return Row(f"{name}: amounts {what}, CVXPY with {solver}", 1e3 * ours_s, 1e3 * theirs_s,
               theirs_s / ours_s, "ms", target, note)  # fmt: skip


def _solve(program: cp.Problem, solver: str) -> str:
    """Solve; what it says when it stopped without an answer, else nothing."""
    try:
        program.solve(solver=solver, **{SOLVERS[solver]: LIMIT_S})
    except cp.SolverError as error:
        return str(error).split(".")[0].lower()
    return program.status if program.status == cp.USER_LIMIT else ""


def _ours(problem: Problem, bounds: bool) -> np.ndarray:
    """Ours, amounts alone; nothing is kept from a call before."""
    return reconciled_amounts(replace(problem), nonnegative=bounds)


def _lu(matrix, right):
    lu = splu(matrix)
    return lu, lu.solve(right)


def _program(flows: list[Flow]):
    balance, y, weight = _arrays(flows)
    n, rows = len(flows), balance.shape[0]
    model = highspy.HighsModel()
    lp = model.lp_
    lp.num_col_, lp.num_row_ = n, rows
    lp.col_cost_ = -weight * y
    lp.col_lower_, lp.col_upper_ = np.zeros(n), np.full(n, highspy.kHighsInf)
    lp.row_lower_ = lp.row_upper_ = np.zeros(rows)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_, lp.a_matrix_.index_ = balance.indptr, balance.indices
    lp.a_matrix_.value_ = balance.data
    hessian = model.hessian_
    hessian.dim_, hessian.format_ = n, highspy.HessianFormat.kTriangular
    hessian.start_, hessian.index_, hessian.value_ = np.arange(n + 1), np.arange(n), weight
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("time_limit", LIMIT_S)
    highs.passModel(model)
    highs.run()
    return highs.modelStatusToString(highs.getModelStatus()).lower()


def _small() -> list[Row]:
    flows, _ = network(1_200, NEAR)
    balance, y, weight = _arrays(flows)
    known = weight > 0
    both = [_timed(lambda: reconcile(flows, most_suspects=0))[0] for _ in range(5)]
    plain = [_timed(lambda: _dense(balance.toarray(), y, weight, known))[0] for _ in range(3)]
    ours_s, dense_s = sorted(both)[2], sorted(plain)[1]
    return [
        Row("1,200 streams, dense algebra", 1e3 * ours_s, 1e3 * dense_s, dense_s / ours_s, "ms")
    ]


def _dense(balance, y, weight, known):
    u, s, _ = np.linalg.svd(balance[:, ~known])
    projected = u[:, int((s > 1e-9).sum()) :].T @ balance[:, known]
    variance = 1.0 / weight[known]
    h = np.linalg.pinv((projected * variance) @ projected.T)
    w = projected.T @ h @ projected
    return y[known] - variance * (w @ y[known]), np.diagonal(w)
