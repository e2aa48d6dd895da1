"""Reconciliation against dense algebra and a quadratic-program solver, on random networks."""

from dataclasses import replace

import highspy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.book.reconcile import Flow, reconcile
from wareleaf.measure import BadInput


def random_network(rng, nodes, streams, unmeasured=0.0, known=0.0):
    """A network whose true amounts balance: rings and paths through the border are laid over it."""
    wires = []
    while len(wires) < streams:
        a, b = rng.integers(0, nodes + 1, 2)
        if a != b:
            wires.append((int(a), int(b)))
    incidence = np.zeros((nodes + 1, streams))
    for k, (a, b) in enumerate(wires):
        incidence[a, k] -= 1.0
        incidence[b, k] += 1.0
    balance = incidence[1:]
    true = rng.uniform(1.0, 100.0, streams)
    true -= np.linalg.pinv(balance) @ (balance @ true)
    sd = rng.uniform(0.1, 3.0, streams)
    measured = true + sd * rng.standard_normal(streams)
    kind = rng.uniform(size=streams)
    flows, given_exact = [], {}
    for k, (a, b) in enumerate(wires):
        ends = (f"n{a}" if a else None, f"n{b}" if b else None)
        if kind[k] < unmeasured:
            flows.append(Flow(f"s{k}", *ends))
        else:
            flows.append(Flow(f"s{k}", *ends, float(measured[k]), float(sd[k])))
            if kind[k] > 1.0 - known:
                given_exact[f"s{k}"] = float(true[k])
    return flows, given_exact, balance, true


def dense(flows, known, balance):
    """The textbook way: an orthonormal basis of the balances free of unmeasured amounts."""
    names = [f.name for f in flows]
    is_known = np.array([n in known for n in names])
    measured = np.array([f.measured is not None for f in flows]) & ~is_known
    free = ~(is_known | measured)
    y = np.array([known.get(f.name, f.measured or 0.0) for f in flows])
    variance = np.array([(f.standard_uncertainty or 0.0) ** 2 for f in flows])
    u, s, _ = np.linalg.svd(balance[:, free]) if free.any() else (np.eye(len(balance)), [], None)
    rank = int(np.sum(np.asarray(s) > 1e-9))
    projected = u[:, rank:].T @ balance
    projected[np.abs(projected) < 1e-10] = 0.0
    a, r = projected[:, measured], projected @ y
    h = np.linalg.pinv(a @ np.diag(variance[measured]) @ a.T, rcond=1e-11)
    w = a.T @ h @ a
    x = y.copy()
    x[measured] -= variance[measured] * (a.T @ h @ r)
    out = {"x": x, "statistic": r @ h @ r, "dof": np.linalg.matrix_rank(a, tol=1e-9)}
    redundant = np.zeros(len(flows), dtype=bool)
    redundant[np.flatnonzero(measured)] = np.diagonal(w) > 1e-11
    covariance = np.diag(np.where(measured, variance, 0.0))
    v = np.diag(variance[measured])
    covariance[np.ix_(measured, measured)] -= v @ w @ v
    solve = np.linalg.pinv(balance[:, free], rcond=1e-11)
    gives = solve @ balance[:, free]
    observable = np.zeros(len(flows), dtype=bool)
    observable[np.flatnonzero(free)] = (
        np.abs(gives - np.eye(int(free.sum()))).max(axis=1, initial=0.0) < 1e-7
    )
    x[free] = -solve @ (balance[:, ~free] @ x[~free])
    back = -solve @ balance[:, ~free]
    covariance[np.ix_(free, free)] = back @ covariance[np.ix_(~free, ~free)] @ back.T
    out |= {"redundant": redundant, "observable": observable, "measured": measured}
    out["sd"] = np.sqrt(np.maximum(np.diagonal(covariance), 0.0))
    return out


@settings(deadline=None, max_examples=120)
@given(
    seed=st.integers(0, 2**31),
    nodes=st.integers(1, 12),
    more=st.integers(1, 14),
    unmeasured=st.sampled_from([0.0, 0.2, 0.5, 0.8]),
    known=st.sampled_from([0.0, 0.2]),
)
def test_against_dense_algebra(seed, nodes, more, unmeasured, known):
    rng = np.random.default_rng(seed)
    flows, exact, balance, _ = random_network(rng, nodes, nodes + more, unmeasured, known)
    want = dense(flows, exact, balance)
    out = reconcile(flows, exact, nonnegative=False)
    assert out.global_test.dof == want["dof"]
    assert out.global_test.statistic == pytest.approx(want["statistic"], rel=1e-7, abs=1e-7)
    for k, f in enumerate(out.flows):
        if f.name in exact:
            assert f.kind == "known"
            assert f.reconciled == exact[f.name]
        elif want["measured"][k]:
            assert f.kind == ("redundant" if want["redundant"][k] else "nonredundant")
        else:
            assert f.kind == ("observable" if want["observable"][k] else "unobservable")
        if f.kind == "unobservable":
            assert f.reconciled is f.standard_uncertainty is None
            continue
        assert f.reconciled == pytest.approx(want["x"][k], rel=1e-7, abs=1e-6)
        assert f.standard_uncertainty == pytest.approx(want["sd"][k], rel=1e-5, abs=1e-5)
    if all(f.kind != "unobservable" for f in out.flows):
        x = np.array([f.reconciled for f in out.flows])
        assert np.abs(balance @ x).max() < 1e-7 * max(1.0, np.abs(x).max())


def quadratic_program(flows, balance):
    """Weighted least squares with bounds, by HiGHS."""
    y = np.array([f.measured for f in flows])
    weight = np.array([f.standard_uncertainty for f in flows]) ** -2.0
    n, inf = len(flows), highspy.kHighsInf
    model = highspy.HighsModel()
    lp, rows = model.lp_, [np.flatnonzero(row) for row in balance]
    lp.num_col_, lp.num_row_ = n, len(balance)
    lp.col_cost_ = -weight * y
    lp.col_lower_, lp.col_upper_ = np.zeros(n), np.full(n, inf)
    lp.row_lower_ = lp.row_upper_ = np.zeros(len(balance))
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *map(len, rows)])
    lp.a_matrix_.index_ = np.concatenate(rows)
    lp.a_matrix_.value_ = np.concatenate([balance[i, r] for i, r in enumerate(rows)])
    hessian = model.hessian_
    hessian.dim_, hessian.format_ = n, highspy.HessianFormat.kTriangular
    hessian.start_, hessian.index_, hessian.value_ = np.arange(n + 1), np.arange(n), weight
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("qp_regularization_value", 0.0)
    highs.passModel(model)
    highs.run()
    return np.array(highs.getSolution().col_value)


@pytest.mark.parametrize("seed", range(25))
def test_zero_bounds_against_a_quadratic_program(seed):
    rng = np.random.default_rng(seed)
    flows, _, balance, true = random_network(rng, 8, 20)
    # amounts near zero, so that many fall below it
    noisy = [
        Flow(f.name, f.start, f.end, float(0.05 * t + rng.normal(0.0, 2.0)), 2.0)
        for f, t in zip(flows, true, strict=True)
    ]
    out = reconcile(noisy)
    x = np.array([f.reconciled for f in out.flows])
    assert x.min() >= -1e-9
    assert np.abs(balance @ x).max() < 1e-8
    reference = quadratic_program(noisy, balance)
    y = np.array([f.measured for f in noisy])

    def misfit(amount):
        return float(np.sum((amount - y) ** 2)) / 4.0

    assert misfit(x) <= misfit(reference) * (1.0 + 1e-7) + 1e-9
    assert x == pytest.approx(reference, abs=1e-4)


def test_zero_bound_by_hand():
    """In 1, out 5 +/- 1 and an unmeasured side stream in the wrong direction: it stays at zero."""
    flows = [
        Flow("in", None, "bin", 5.0, 1.0),
        Flow("out", "bin", None, 7.0, 1.0),
        Flow("waste", "bin", None),
    ]
    free = reconcile(flows, nonnegative=False)
    assert free.of("waste").reconciled == pytest.approx(-2.0)
    assert free.of("waste").standard_uncertainty == pytest.approx(2.0**0.5)
    out = reconcile(flows)
    assert out.of("waste").reconciled == 0.0
    assert out.of("in").reconciled == out.of("out").reconciled == pytest.approx(6.0)
    assert out.at_zero == ("waste",)


@pytest.mark.parametrize("seed", range(12))
def test_serial_elimination_is_what_leaving_a_measurement_out_gives(seed):
    """After elimination, statistic and amounts equal a fresh run without those measurements."""
    rng = np.random.default_rng(100 + seed)
    flows = random_network(rng, 6, 16)[0]
    bad = rng.choice(16, 2, replace=False).tolist()
    wrong = [
        replace(f, measured=f.measured + 25.0 * f.standard_uncertainty) if k in bad else f
        for k, f in enumerate(flows)
    ]
    out = reconcile(wrong, nonnegative=False)
    left_out = [s for s in out.suspects if s.left_out]
    assert left_out
    names = {s.name for s in left_out}
    fresh = reconcile(
        [Flow(f.name, f.start, f.end) if f.name in names else f for f in wrong],
        nonnegative=False,
    )
    last = left_out[-1].test_after
    assert last.statistic == pytest.approx(fresh.global_test.statistic, rel=1e-6, abs=1e-6)
    assert last.dof == fresh.global_test.dof
    for f in fresh.flows:
        if f.reconciled is not None:
            assert out.without_suspects[f.name] == pytest.approx(f.reconciled, abs=1e-6)
    for s in left_out:
        measured = next(f for f in wrong if f.name == s.name).measured
        there = fresh.of(s.name)
        assert s.error == pytest.approx(measured - there.reconciled, abs=1e-6)


def test_streams_in_a_row_cannot_be_told_apart():
    """Two meters in line and none else: the balances do not say which one is wrong."""
    flows = [
        Flow("first", None, "bed", 100.0, 1.0),
        Flow("second", "bed", None, 120.0, 1.0),
    ]
    out = reconcile(flows)
    (wrong,) = [s for s in out.suspects if s.left_out]
    assert (wrong.name, wrong.alike) == ("first", ("second",))  # of equals the first given
    assert wrong.test_after.dof == 0  # nothing is left to check the other with
    assert out.of("first").reconciled == pytest.approx(110.0)


@pytest.mark.slow
def test_tests_err_as_often_as_they_say():
    """With true uncertainties 5 % of global tests fail: 400 draws, four sigma wide."""
    rng = np.random.default_rng(8)
    failed = 0
    for _ in range(400):
        flows, _, _, _ = random_network(rng, 4, 9)
        failed += reconcile(flows, nonnegative=False).global_test.p_value < 0.05
    assert 400 * 0.05 - 4 * 4.4 < failed < 400 * 0.05 + 4 * 4.4


@pytest.mark.slow
def test_iteration_agrees_with_elimination():
    rng = np.random.default_rng(5)
    flows, _, _, _ = random_network(rng, 60, 200, unmeasured=0.1)
    exact = reconcile(flows, nonnegative=False)
    rough = reconcile(flows, nonnegative=False, most_work=0.0)
    assert exact.simulated == 0
    assert rough.simulated == 200
    assert rough.global_test.statistic == pytest.approx(exact.global_test.statistic, rel=1e-8)
    ratios = []
    for a, b in zip(exact.flows, rough.flows, strict=True):
        assert a.kind == b.kind
        if a.reconciled is not None:
            assert b.reconciled == pytest.approx(a.reconciled, rel=1e-7, abs=1e-7)
            ratios.append(b.standard_uncertainty / a.standard_uncertainty)
    assert min(ratios) > 0.75  # five sigma of 5 %
    assert max(ratios) < 1.25


@pytest.mark.parametrize(
    ("flows", "known", "words"),
    [
        ([], {}, "no streams"),
        ([Flow("a", "x", "x", 1.0, 1.0)], {}, "give two places"),
        ([Flow("a", None, None, 1.0, 1.0)], {}, "the border"),
        ([Flow("a", None, "x", 1.0, 1.0), Flow("a", "x", None)], {}, "stands twice"),
        ([Flow("a", None, "x", 1.0)], {}, "give one above 0"),
        ([Flow("a", None, "x", 1.0, 0.0)], {}, "list the stream under known"),
        ([Flow("a", None, "x", None, 0.1)], {}, "no measurement"),
        ([Flow("a", None, "x", float("nan"), 0.1)], {}, "finite"),
        ([Flow("a", None, "x", 1.0, 1.0)], {"b": 2.0}, "no such stream"),
        ([Flow("a", None, "x", 1.0, 1.0)], {"a": -2.0}, "0 or more"),
        ([Flow("a", None, "x"), Flow("b", "x", None)], {"a": 2.0, "b": 1.0}, "contradict"),
    ],
)
def test_bad_input_is_named(flows, known, words):
    with pytest.raises(BadInput, match=words):
        reconcile(flows, known)
