"""Properties along splits, blends and runs, against dense algebra and sums done by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.book.properties import Finding, Source, Step, condition, network
from wareleaf.measure import BadInput

A, B = Source("A", 4000.0, 900.0), Source("B", 2500.0, 600.0)


def blend(**more):
    return Step("E1", {"A": 0.25, "B": 0.75}, {"C": 10.0}, **more)


def test_a_blend_is_the_weighted_mean_with_uncertainty_by_gum():
    """JCGM 100:2008, equation 10: independent inputs, squared weights."""
    seen = condition(network([A, B], [blend()]), []).of("C")
    assert seen.mean == pytest.approx(0.25 * 4000 + 0.75 * 2500)
    assert seen.sd == pytest.approx(math.hypot(0.25 * 900, 0.75 * 600))


def test_a_result_on_one_lot_is_the_conjugate_normal():
    seen = condition(network([A], []), [Finding("A", 3000.0, 300.0)]).of("A")
    w, u = 1 / 900**2, 1 / 300**2
    assert seen.mean == pytest.approx((w * 4000 + u * 3000) / (w + u))
    assert seen.sd == pytest.approx((w + u) ** -0.5)


def test_a_result_on_a_parent_predicts_the_child_and_on_the_child_corrects_the_parents():
    net = network([A, B], [blend()])
    from_parent = condition(net, [Finding("A", 5000.0, 1e-3)])
    assert from_parent.of("C").mean == pytest.approx(0.25 * 5000 + 0.75 * 2500)
    assert from_parent.of("B").mean == pytest.approx(2500.0)
    from_child = condition(net, [Finding("C", 3500.0, 1e-3)])
    variance = (0.25 * 900) ** 2 + (0.75 * 600) ** 2
    assert from_child.of("A").mean == pytest.approx(4000 + 0.25 * 900**2 * 625 / variance)
    assert from_child.of("B").mean == pytest.approx(2500 + 0.75 * 600**2 * 625 / variance)
    assert from_child.mix({"A": 0.25, "B": 0.75})[0] == pytest.approx(3500.0)


def test_a_doubtful_factor_has_the_variance_of_a_product():
    """Exact for independent factors: f2 s2 + sf2 (m2 + s2)."""
    step = Step("bath", {"A": 1.0}, {"C": 1.0}, factor=0.07, factor_sd=0.04)
    seen = condition(network([A], [step]), []).of("C")
    assert seen.mean == pytest.approx(280.0)
    assert seen.sd**2 == pytest.approx((0.07 * 900) ** 2 + 0.04**2 * (4000**2 + 900**2))


def test_a_break_lets_nothing_through():
    step = Step("oxidise", {"A": 1.0}, {"C": 1.0}, factor=0.0, offset=50.0, noise_sd=20.0)
    seen = condition(network([A], [step]), [Finding("A", 9000.0, 1.0)])
    assert seen.of("C").mean == 50.0
    assert seen.of("C").sd == pytest.approx(20.0)


def test_unlike_sisters_still_add_up_to_what_was_split():
    step = Step("sift", {"A": 1.0}, {"C": 2.0, "D": 3.0, "E": 5.0}, part_sd=400.0)
    net = network([A], [step])
    seen = condition(net, [Finding("C", 5200.0, 50.0), Finding("D", 3000.0, 80.0)])
    mean, sd = seen.mix({"C": 0.2, "D": 0.3, "E": 0.5})
    assert mean == pytest.approx(seen.of("A").mean)
    assert sd == pytest.approx(seen.of("A").sd)
    assert seen.of("C").mean > seen.of("D").mean


NAMED = ("leaf", "bath")


def dense(sources, steps, findings):
    """The same by plain matrices: joint normal of all lots, then one textbook update.

    A named error is one more unknown, of mean 0 and variance 1.
    """
    lots = [*NAMED, *(s.lot_id for s in sources), *(c for s in steps for c in s.children)]
    at = {k: i for i, k in enumerate(lots)}
    n = len(lots)
    mean, cov = np.zeros(n), np.zeros((n, n))
    cov[[0, 1], [0, 1]] = 1.0

    def add(i, sizes):
        for name, size in sizes.items():
            k = at[name]
            cov[i, i] += 2 * size * cov[i, k] + size**2 * cov[k, k]
            others = [j for j in range(n) if j != i]
            cov[i, others] += size * cov[k, others]
            cov[others, i] = cov[i, others]

    for s in sources:
        mean[at[s.lot_id]], cov[at[s.lot_id], at[s.lot_id]] = s.mean, s.sd**2
        add(at[s.lot_id], s.shared)
    for s in steps:
        w = np.zeros(n)
        for p, share in s.parents.items():
            w[at[p]] = share
        m, v = w @ mean, w @ cov @ w
        noise = s.noise_sd**2 + s.factor_sd**2 * (m**2 + v)
        idx = [at[c] for c in s.children]
        part = np.array(list(s.children.values())) / sum(s.children.values())
        centre = np.eye(len(idx)) - part[None, :]
        out = s.offset + s.factor * m
        named = {k: s.shared.get(k, 0.0) + m * s.shared_factor.get(k, 0.0) for k in NAMED}
        e = np.zeros(n)
        e[[0, 1]] = [named[k] for k in NAMED]
        cross = s.factor * (cov @ w) + cov @ e
        own = (s.factor * w + e) @ cov @ (s.factor * w + e)
        cov[idx, :], cov[:, idx] = cross[None, :], cross[:, None]
        unlike = s.part_sd**2 + (s.part_relative_sd * out) ** 2
        cov[np.ix_(idx, idx)] = own + noise + unlike * centre @ centre.T
        mean[idx] = out
    h = np.zeros((len(findings), n))
    for i, f in enumerate(findings):
        h[i, at[f.lot_id]] = 1.0
    gain = cov @ h.T @ np.linalg.inv(h @ cov @ h.T + np.diag([f.sd**2 for f in findings]))
    mean = mean + gain @ (np.array([f.value for f in findings]) - h @ mean)
    return lots, mean, cov - gain @ h @ cov


def named(rng, most):
    return {k: float(rng.uniform(0, most)) for k in NAMED if rng.random() < 0.4}


@st.composite
def histories(draw):
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    sources = [
        Source(f"S{i}", rng.uniform(10, 100), rng.uniform(5, 50), named(rng, 9.0))
        for i in range(rng.integers(1, 6))
    ]
    lots, steps = [s.lot_id for s in sources], []
    for e in range(rng.integers(1, 9)):
        parents = rng.choice(lots, min(len(lots), rng.integers(1, 4)), replace=False)
        shares = rng.dirichlet(np.ones(len(parents)))
        children = {f"E{e}-{c}": rng.uniform(1, 9) for c in range(rng.integers(1, 4))}
        steps.append(
            Step(
                f"E{e}",
                dict(zip(map(str, parents), map(float, shares), strict=True)),
                children,
                factor=float(rng.choice([0.0, 0.3, 1.0])),
                factor_sd=float(rng.choice([0.0, 0.1])),
                noise_sd=float(rng.choice([0.0, 3.0])),
                part_sd=float(rng.choice([0.0, 4.0])),
                part_relative_sd=float(rng.choice([0.0, 0.1])),
                offset=float(rng.choice([0.0, 7.0])),
                shared=named(rng, 5.0),
                shared_factor=named(rng, 0.2),
            )
        )
        lots += list(children)
    findings = [
        Finding(str(rng.choice(lots)), rng.uniform(0, 120), rng.uniform(1, 20))
        for _ in range(rng.integers(1, 7))
    ]
    return sources, steps, findings


@settings(deadline=None, max_examples=120)
@given(histories())
def test_means_and_covariances_equal_dense_algebra(history):
    sources, steps, findings = history
    lots, mean, cov = dense(*history)
    seen = condition(network(sources, steps[::-1]), findings)
    lots, mean, cov = lots[2:], mean[2:], cov[2:, 2:]
    got = np.array([seen.of(k).mean for k in lots])
    np.testing.assert_allclose(got, mean, rtol=1e-8, atol=1e-7)
    np.testing.assert_allclose(seen.covariance(lots, lots), cov, rtol=1e-7, atol=1e-6)
    np.testing.assert_allclose([seen.of(k).sd ** 2 for k in lots], np.diag(cov), atol=1e-6)
    off = [f.value - seen.net.mean[seen.net.row(f.lot_id)] for f in findings]
    told = [seen.net.mean[seen.net.row(k)] + seen.weights(k) @ off for k in lots]
    np.testing.assert_allclose(told, mean, rtol=1e-8, atol=1e-7)


@settings(deadline=None, max_examples=80)
@given(histories(), st.randoms())
def test_order_does_not_matter_and_no_result_makes_a_lot_less_known(history, shuffled):
    sources, steps, findings = history
    net = network(sources, steps)
    whole = condition(net, findings)
    mixed = list(findings)
    shuffled.shuffle(mixed)
    again = condition(net, mixed)
    np.testing.assert_allclose(again.mean, whole.mean, rtol=1e-9, atol=1e-8)
    before = condition(net, [])
    for k in range(1, len(findings) + 1):
        after = condition(net, findings[:k])
        assert np.all(after.sd**2 <= before.sd**2 + 1e-8)
        before = after


@settings(deadline=None, max_examples=80)
@given(histories())
def test_a_step_keeps_the_mass_weighted_content_whatever_is_found(history):
    """Without gain or loss in a step, its children together hold what its parents gave."""
    sources, steps, findings = history
    kept = [
        Step(s.event_id, s.parents, s.children, part_sd=s.part_sd, part_relative_sd=0.1)
        for s in steps
    ]
    seen = condition(network(sources, kept), findings)
    for s in kept:
        whole = sum(s.children.values())
        out = seen.mix({k: v / whole for k, v in s.children.items()})
        went_in = seen.mix(s.parents)
        assert out[0] == pytest.approx(went_in[0], rel=1e-7, abs=1e-6)
        assert out[1] == pytest.approx(went_in[1], rel=1e-5, abs=1e-3)


def chain(n, start_sd, step_sd):
    steps = [Step(f"E{i}", {f"L{i}": 1.0}, {f"L{i + 1}": 1.0}, noise_sd=step_sd) for i in range(n)]
    return network([Source("L0", 50.0, start_sd)], steps)


def test_a_chain_of_lots_is_the_kalman_filter_and_smoother():
    """The scalar recursions of Kalman 1960 and of Rauch, Tung and Striebel 1965, written out."""
    rng = np.random.default_rng(7)
    q, r, seen = 4.0, 9.0, rng.normal(55.0, 5.0, 12)
    belief = condition(
        chain(11, 10.0, math.sqrt(q)),
        [Finding(f"L{i}", float(y), math.sqrt(r)) for i, y in enumerate(seen)],
    )
    mean, var, kept = 50.0, 100.0, []
    for i, y in enumerate(seen):
        var += q if i else 0.0
        gain = var / (var + r)
        mean, var = mean + gain * (y - mean), (1 - gain) * var
        kept.append((mean, var))
    assert belief.of("L11").mean == pytest.approx(mean)
    assert belief.of("L11").sd ** 2 == pytest.approx(var)
    for i in range(10, -1, -1):
        m, v = kept[i]
        back = v / (v + q)
        mean, var = m + back * (mean - m), v + back**2 * (var - v - q)
        assert belief.of(f"L{i}").mean == pytest.approx(mean)
        assert belief.of(f"L{i}").sd ** 2 == pytest.approx(var)


def test_a_long_chain_settles_at_the_steady_state_of_the_local_level_model():
    """Durbin and Koopman 2012, section 2.11 (from memory):
    P/r = (h + sqrt(h^2 + 4h))/2 with h = q/r, before the last result.
    """
    q, r = 1469.1, 15099.0
    found = condition(
        chain(120, 1e3, math.sqrt(q)),
        [Finding(f"L{i}", 900.0, math.sqrt(r)) for i in range(120)],
    )
    h = q / r
    assert found.of("L120").sd ** 2 / r == pytest.approx((h + math.sqrt(h * h + 4 * h)) / 2)


@settings(deadline=None, max_examples=40)
@given(histories())
def test_oddness_is_the_distance_from_what_the_other_results_expect(history):
    sources, steps, findings = history
    net = network(sources, steps)
    odd = condition(net, findings).oddness()
    for k, f in enumerate(findings):
        expected = condition(net, findings[:k] + findings[k + 1 :]).of(f.lot_id)
        said = (f.value - expected.mean) / math.hypot(expected.sd, f.sd)
        assert odd[k] == pytest.approx(said, rel=1e-5, abs=1e-6)


def test_what_is_shared_is_learnt_from_one_lot_for_another_that_was_never_near_it():
    """Two lots of one line: the covariance is what they share (JCGM 102:2011, 3.21)."""
    lots = [Source(k, 100.0, 10.0, {"line": 30.0}) for k in ("A", "B")]
    seen = condition(network(lots, []), [Finding("A", 140.0, 5.0)])
    gain = 30.0**2 / (30.0**2 + 10.0**2 + 5.0**2)
    assert seen.of("B").mean == pytest.approx(100.0 + gain * 40.0)
    assert seen.of("B").sd ** 2 == pytest.approx(1000.0 - gain * 900.0)


def test_the_doubt_of_a_factor_is_taken_at_the_leaf_that_was_there():
    step = Step("bath", {"A": 1.0}, {"C": 1.0}, factor=0.1, factor_sd=0.05)
    found = [Finding("A", 1000.0, 1e-6)]
    usual = condition(network([A], [step]), found)
    assert usual.of("C").sd == pytest.approx(0.05 * math.hypot(4000.0, 900.0), rel=1e-6)
    about = {k: (usual.of(k).mean, usual.of(k).sd) for k in "AC"}
    there = condition(network([A], [step], about), found)
    assert there.of("C").mean == pytest.approx(100.0)
    assert there.of("C").sd == pytest.approx(50.0, rel=1e-4)


def test_what_cannot_be_is_refused():
    with pytest.raises(BadInput, match="made twice"):
        network([A, A], [])
    with pytest.raises(BadInput, match="unknown"):
        network([A], [blend()])
    with pytest.raises(BadInput, match="own ancestors"):
        network([], [Step("x", {"P": 1.0}, {"Q": 1.0}), Step("y", {"Q": 1.0}, {"P": 1.0})])
    with pytest.raises(BadInput, match="add up to 1"):
        Step("x", {"A": 0.5}, {"C": 1.0})
    with pytest.raises(BadInput, match="above 0"):
        Finding("A", 1.0, 0.0)
    with pytest.raises(BadInput, match="not in this network"):
        condition(network([A], []), [Finding("Z", 1.0, 1.0)])
