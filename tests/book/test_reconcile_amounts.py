"""Amounts alone on networks large enough for the fast ways, against slow ones that are sure."""

import highspy
import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve

from wareleaf.book.reconcile import Flow, problem_of, reconciled_amounts
from wareleaf.book.reconcile.balances import Balances
from wareleaf.book.reconcile.bounds import amounts, not_negative
from wareleaf.book.reconcile.solvers import MOST_WORK, Direct, Thinned
from wareleaf.measure import BadInput


def works(seed, width=70, layers=8, unmeasured=0.1, relative_sd=0.3):
    """Streams between layers of neighbours, closed over the border; true amounts balance."""
    rng = np.random.default_rng(seed)
    wires = [
        (
            max(layer - 1 - int(rng.random() < 0.15), 0),
            (n + int(rng.integers(-3, 4))) % width,
            layer,
            n,
        )
        for layer in range(1, layers)
        for n in range(width)
        for _ in range(rng.integers(1, 5))
    ]
    ends = [(a * width + b, c * width + d) for a, b, c, d in wires]
    amount = rng.lognormal(1.0, 1.0, len(ends))
    a, b = np.array(ends).T
    left = np.bincount(b, amount, layers * width) - np.bincount(a, amount, layers * width)
    wired = [(f"n{x}", f"n{y}") for x, y in ends]
    wired += [(None, f"n{n}") if left[n] < 0 else (f"n{n}", None) for n in range(layers * width)]
    true = np.concatenate([amount, np.abs(left)]) + 1e-6
    sd = relative_sd * true
    seen = true + sd * rng.standard_normal(len(true))
    blind = rng.random(len(true)) < unmeasured
    return [
        Flow(f"s{k}", *w) if blind[k] else Flow(f"s{k}", *w, float(seen[k]), float(sd[k]))
        for k, w in enumerate(wired)
    ]


def ring(places, reach):
    """A ring of places, each wired to the next few; one way in, one out; all equally uncertain."""
    rng = np.random.default_rng(5)
    flows = [Flow("in", None, "n0", 100.0, 1.0), Flow("out", f"n{places // 2}", None, 104.0, 1.0)]
    for n in range(places):
        for k in range(1, reach + 1):
            name, seen = f"{n} {k}", float(rng.normal(50.0, 1.0))
            flows.append(Flow(name, f"n{n}", f"n{(n + k) % places}", seen, 1.0))
    return flows


def by_optimality_conditions(problem):
    """SciPy's sparse LU on [V^-1 B'; B 0] [x; p] = [V^-1 y; 0]: all streams measured."""
    net, n = problem.net, len(problem.value)
    every = np.arange(n)
    signs = (np.repeat([1.0, -1.0], n), (np.concatenate([net.end, net.start]), np.tile(every, 2)))
    balance = sp.csr_array(sp.coo_array(signs, shape=(net.size, n)))[1:]
    weight = sp.diags_array(1.0 / problem.variance)
    matrix = sp.block_array([[weight, balance.T], [balance, None]], format="csc")
    right = np.concatenate([problem.value / problem.variance, np.zeros(net.size - 1)])
    return spsolve(matrix, right)[:n]


@pytest.mark.parametrize("seed", range(3))
def test_amounts_alone_meet_the_optimality_conditions(seed):
    problem = problem_of(works(seed, unmeasured=0.0), {}, True)
    assert isinstance(Balances(problem, use="once").solver, Thinned)
    out = reconciled_amounts(problem, nonnegative=False)
    sd = np.sqrt(problem.variance)
    # the iteration ends when the errors of all streams together are 1e-8 sd
    assert np.abs((out - by_optimality_conditions(problem)) / sd).max() < 1e-7
    assert np.abs(problem.net.inflow(out)[1:]).max() < 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_every_way_gives_the_same_amounts_and_the_same_gaps(seed):
    """A tenth is unmeasured: elimination with uncertainties, one factor, and a thinned one."""
    problem = problem_of(works(seed), {}, True)
    sure = Balances(problem)
    x, said, _ = amounts(problem, sure)
    assert 0 < (~said).sum() < len(said) // 10
    fast = reconciled_amounts(problem, nonnegative=False)
    assert np.array_equal(np.isnan(fast), ~said)
    assert fast[said] == pytest.approx(x[said], abs=1e-6)
    direct = sure.for_bounds()
    assert isinstance(direct.solver, Direct)
    assert amounts(problem, direct)[0][said] == pytest.approx(x[said], abs=1e-8)


def test_a_network_that_thinning_does_not_suit_is_solved_all_the_same():
    """Every stream is small beside its places, so thinning leaves none; the way round is long."""
    problem = problem_of(ring(1500, 8), {}, True)
    balances = Balances(problem, use="once")
    out, _, _ = amounts(problem, balances)
    assert isinstance(balances.solver.whole, Direct)
    assert np.abs(out - by_optimality_conditions(problem)).max() < 1e-7


@pytest.mark.parametrize("unmeasured", [0.0, 0.1, 0.4])
@pytest.mark.parametrize("seed", range(3))
def test_bounds_by_one_factor_and_by_balances_solved_anew(seed, unmeasured):
    problem = problem_of(works(seed, unmeasured=unmeasured, relative_sd=1.0), {}, True)
    balances = Balances(problem, use="often")
    free, said, _ = amounts(problem, balances)
    assert (free[said] < 0.0).sum() > 20
    x, held = not_negative(problem, free, said, balances, MOST_WORK)
    anew, held_anew = not_negative(problem, free, said, None, MOST_WORK)
    assert x[said] == pytest.approx(anew[said], abs=1e-7)
    # streams in a row are zero together; whether one or all of them are held is a matter of taste
    assert np.abs(x[held != held_anew]).max(initial=0.0) < 1e-12
    assert x[said].min() >= -1e-9 * x[said].max()
    assert np.array_equal(reconciled_amounts(problem)[said], x[said])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2))
def test_bounds_against_a_quadratic_program(seed):
    """HiGHS, on some 1,500 streams of which a few hundred end at zero."""
    problem = problem_of(works(seed, width=50, unmeasured=0.0, relative_sd=1.0), {}, True)
    x = reconciled_amounts(problem)
    assert (x == 0.0).sum() > 20
    reference = quadratic_program(problem)

    def misfit(amount):
        return float(np.sum((amount - problem.value) ** 2 / problem.variance))

    assert np.abs(problem.net.inflow(x)[1:]).max() < 1e-6
    assert misfit(x) <= misfit(reference) * (1.0 + 1e-6)
    # a misfit within 1e-6 of the least leaves amounts within its root, in sd
    assert np.abs((x - reference) / np.sqrt(problem.variance)).max() < 2e-3 * misfit(x) ** 0.5


def quadratic_program(problem):
    """Weighted least squares with bounds, by HiGHS."""
    net, n = problem.net, len(problem.value)
    model = highspy.HighsModel()
    lp = model.lp_
    weight = 1.0 / problem.variance
    lp.num_col_, lp.num_row_ = n, net.size - 1
    lp.col_cost_ = -weight * problem.value
    lp.col_lower_, lp.col_upper_ = np.zeros(n), np.full(n, highspy.kHighsInf)
    lp.row_lower_ = lp.row_upper_ = np.zeros(net.size - 1)
    places = (np.concatenate([net.end, net.start]), np.tile(np.arange(n), 2))
    signs = np.repeat([1.0, -1.0], n)
    balance = sp.csr_array(sp.coo_array((signs, places), shape=(net.size, n)))[1:].tocsc()
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_, lp.a_matrix_.index_ = balance.indptr, balance.indices
    lp.a_matrix_.value_ = balance.data
    hessian = model.hessian_
    hessian.dim_, hessian.format_ = n, highspy.HessianFormat.kTriangular
    hessian.start_, hessian.index_, hessian.value_ = np.arange(n + 1), np.arange(n), weight
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.passModel(model)
    highs.run()
    return np.array(highs.getSolution().col_value)


def test_held_streams_that_depend_on_each_other_keep_to_zero():
    """Two unmeasured streams in a row: to hold the one is to hold the other."""
    flows = [
        Flow("in", None, "bin", 5.0, 1.0),
        Flow("out", "bin", None, 7.0, 1.0),
        Flow("waste", "bin", "heap"),
        Flow("heap", "heap", None),
    ]
    out = reconciled_amounts(problem_of(flows, {}, True))
    assert out == pytest.approx([6.0, 6.0, 0.0, 0.0])


def test_a_stream_that_known_amounts_drive_below_zero_cannot_be_held():
    flows = [Flow("in", None, "bin"), Flow("out", "bin", None), Flow("waste", "bin", None)]
    problem = problem_of(flows, {"in": 5.0, "out": 7.0}, True)
    with pytest.raises(BadInput, match="contradict"):
        reconciled_amounts(problem)
