"""The fitting engine: limits first, then certified sets, then what it refuses."""

import numpy as np
import pytest

from wareleaf.leaf.fit import fit_curve, ranked, spread_starts
from wareleaf.measure import BadInput
from wareleaf.works.validate.nist import CURVES, certified_set, digits, fitted


def line(x):
    return lambda p: p[0] + p[1] * x


def test_a_straight_line_has_its_textbook_errors():
    """Ordinary least squares in closed form: slope, intercept, and s^2 (X'X)^-1."""
    rng = np.random.default_rng(7)
    x = np.linspace(0.0, 4.0, 12)
    y = 2.0 - 0.7 * x + 0.1 * rng.standard_normal(12)
    found = fit_curve("line", line(x), y, ("a", "b"), [[0.0, 0.0]])
    design = np.stack([np.ones(12), x], axis=-1)
    exact = np.linalg.solve(design.T @ design, design.T @ y)
    s2 = np.sum((y - design @ exact) ** 2) / 10.0
    errors = np.sqrt(np.diag(s2 * np.linalg.inv(design.T @ design)))
    assert list(found.parameters.values()) == pytest.approx(exact, rel=1e-10)
    assert list(found.standard_errors.values()) == pytest.approx(errors, rel=1e-8)
    assert found.residual_sd == pytest.approx(np.sqrt(s2), rel=1e-10)
    assert found.rmse == pytest.approx(np.sqrt(s2 * 10.0 / 12.0), rel=1e-10)
    n, k = 12, 3
    aicc = n * np.log(found.rss / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    assert found.aicc == pytest.approx(aicc)


@pytest.mark.slow
def test_standard_errors_are_the_spread_of_repeated_fits():
    """Monte Carlo: 300 noisy runs of one curve scatter as the fit of one says (15 %, 3 sigma)."""
    rng = np.random.default_rng(11)
    t = np.linspace(0.2, 5.0, 25)
    true = np.array([1.5, 0.6])
    runs = []
    for _ in range(300):
        y = true[0] * np.exp(-true[1] * t) + 0.02 * rng.standard_normal(t.size)
        runs.append(
            fit_curve("decay", lambda p: p[0] * np.exp(-p[1] * t), y, ("a", "k"), [[1.0, 1.0]])
        )
    scatter = np.std([list(r.parameters.values()) for r in runs], axis=0, ddof=1)
    told = np.mean([list(r.standard_errors.values()) for r in runs], axis=0)
    assert told == pytest.approx(scatter, rel=0.15)


@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("name", CURVES)
def test_certified_sets_of_nist(name, start):
    """NIST StRD (read): at least 7 of 11 certified digits from both published starts.

    The issue asks for 6 from the second start. BoxBOD from its first start runs away in every plain
    descent; spread starts bring it home. Lanczos1 has residuals of rounding size, so its certified
    standard deviations cannot be met in doubles and are not compared.
    """
    data = certified_set(name)
    first = data.starts[start].tolist()
    runaway = name == "BoxBOD" and start == 0
    found = fitted(data, spread_starts(first) if runaway else [first])
    assert digits(np.array(list(found.parameters.values())), data.certified) >= 7.0
    if name != "Lanczos1":
        errors = np.array(list(found.standard_errors.values()))
        assert digits(errors, data.certified_sd) >= 7.0
        assert found.rss == pytest.approx(data.certified_rss, rel=1e-9)


def test_the_runaway_start_is_not_passed_off_as_a_result():
    data = certified_set("BoxBOD")
    found = fitted(data, [data.starts[0].tolist()])
    assert found.rss > 5.0 * data.certified_rss
    assert not found.determined


def test_an_exact_jacobian_gives_the_same_fit():
    data = certified_set("Misra1a")

    def slope(b):
        fall = np.exp(-b[1] * data.x)
        return np.stack([1.0 - fall, b[0] * data.x * fall], axis=-1)

    curve = CURVES["Misra1a"]
    start = [data.starts[1].tolist()]
    found = fit_curve("m", lambda b: curve(b, data.x), data.y, data.names, start, jacobian=slope)
    assert digits(np.array(list(found.parameters.values())), data.certified) >= 9.0


def test_bounds_hold_and_an_active_bound_is_reached():
    x = np.linspace(0.0, 1.0, 9)
    found = fit_curve("line", line(x), 1.0 - x, ("a", "b"), [[0.5, 0.5]], lower={"b": -0.5})
    assert found.parameters["b"] == pytest.approx(-0.5, abs=1e-6)


def test_a_constant_that_readings_do_not_determine_has_no_error():
    x = np.linspace(0.0, 1.0, 9)
    rng = np.random.default_rng(3)
    y = 1.0 + x + 0.01 * rng.standard_normal(9)
    found = fit_curve(
        "twice", lambda p: p[0] + (p[1] + p[2]) * x, y, ("a", "b", "c"), [[0.0, 1.0, 1.0]]
    )
    assert found.standard_errors["a"] is not None
    assert found.standard_errors["b"] is None
    assert found.standard_errors["c"] is None
    assert found.covariance is None


def test_ranking_puts_the_lower_aicc_first_and_none_last():
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, 3.0, 6)
    y = np.exp(-x) + 0.001 * rng.standard_normal(6)
    good = fit_curve("exp", lambda p: np.exp(-p[0] * x), y, ("k",), [[0.5]])
    poor = fit_curve("line", line(x), y, ("a", "b"), [[1.0, -0.3]])
    names = tuple("abcde")
    full = fit_curve("poly", lambda p: np.polyval(p, x), y, names, [[0.0] * 5])
    assert full.aicc is None
    assert [f.model for f in ranked([full, poor, good])] == ["exp", "line", "poly"]


@pytest.mark.parametrize(
    ("y", "word"),
    [
        ([1.0, 2.0], "needs at least 3"),
        ([2.0, 2.0, 2.0, 2.0], "all 2"),
        ([1.0, np.nan, 2.0, 3.0], "finite"),
        ([1.0, np.inf, 2.0, 3.0], "finite"),
    ],
)
def test_readings_that_cannot_be_fitted_are_refused(y, word):
    y = np.array(y)
    with pytest.raises(BadInput, match=word):
        fit_curve("line", line(np.arange(y.size)), y, ("a", "b"), [[0.0, 1.0]])


def test_a_curve_that_has_no_value_anywhere_is_refused():
    with pytest.raises(BadInput, match="cannot be evaluated"):
        fit_curve("none", lambda p: np.full(4, np.nan), np.arange(4.0), ("a",), [[1.0]])
