"""The sampling-plan door."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.doors import call


def test_two_class():
    # ICMSF, n 5 c 0 (memory, recomputed): 2, 5, 10, 20, 30, 50 % -> .90 .77 .59 .33 .17 .03.
    out = call(
        "sampling-plan", {"n": 5, "c": 0, "fraction_defective": [0.02, 0.05, 0.1, 0.2, 0.3, 0.5]}
    )
    printed = [0.90, 0.77, 0.59, 0.33, 0.17, 0.03]
    assert out["probability_accept"] == pytest.approx(printed, abs=0.0051)


def test_hypergeometric_for_a_known_lot():
    out = call("sampling-plan", {"n": 5, "c": 0, "fraction_defective": [0.2], "lot_size": 10})
    assert out["probability_accept"] == pytest.approx([56 / 252])  # C(8,5)/C(10,5)
    assert out["warnings"] == []
    rounded = call("sampling-plan", {"n": 5, "c": 0, "fraction_defective": [0.21], "lot_size": 10})
    assert rounded["warnings"]


def test_three_class():
    # Phi(1) = 0.84134, so half the units are marginal or worse at a mean of m (normal table):
    # exact sum for n 5 c 1 with pm 0.5 - 0.02275 and pd 0.02275.
    data = {"n": 5, "c": 1, "log_mean": [2.0, 4.0], "log_sd": 0.5, "m_log": 4.0, "M_log": 5.0}
    out = call("sampling-plan", data)
    pm, good = 0.5 - 0.0227501, 0.5
    assert out["probability_accept"][1] == pytest.approx(good**5 + 5 * pm * good**4, abs=1e-6)
    assert out["probability_accept"][0] == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    "data",
    [
        {"n": 5, "c": 0},
        {"n": 5, "c": 5, "fraction_defective": [0.1]},
        {"n": 5, "c": 0, "fraction_defective": [1.3]},
        {"n": 5, "c": 0, "fraction_defective": []},
        {"n": 5, "c": 0, "fraction_defective": [0.1], "lot_size": 3},
        {"n": 5, "c": 0, "log_mean": [3.0], "m_log": 3.0, "M_log": 4.0},
        {"n": 5, "c": 0, "log_mean": [3.0], "log_sd": 1, "m_log": 4.0, "M_log": 4.0},
        {"n": 5, "c": 0, "fraction_defective": [0.1], "log_mean": [3.0]},
    ],
)
def test_bad_input(data):
    with pytest.raises(BadInput):
        call("sampling-plan", data)
