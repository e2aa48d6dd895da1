"""Shares by origin: by hand, and with the doubt of the weighings against a simulation."""

import numpy as np
import pytest

from wareleaf.book.properties_origin import UNKNOWN, Drawn, Mixing, shares_of

MARKS = {"A": {"north": 1.0}, "B": {"south": 1.0}, "G": {"OP": 0.25, "BOP": 0.75}}


def test_one_blend_by_hand():
    """A ratio a/(a+b): relative errors u and v move it by s(1-s)(u-v)."""
    made = {"C": Mixing("E", (Drawn("A", 30.0, 0.04), Drawn("B", 10.0, 0.03)))}
    found = shares_of("C", made, MARKS)
    assert list(found) == ["north", "south"]
    assert found["north"].share == pytest.approx(0.75)
    assert found["north"].sd == pytest.approx(0.75 * 0.25 * 0.05)
    assert found["south"].sd == pytest.approx(found["north"].sd)


def test_a_known_mix_stops_the_walk_and_an_end_without_mark_is_unknown():
    made = {"G": Mixing("E0", (Drawn("A", 1.0, 0.5),)), "C": Mixing("E", (Drawn("G", 1.0, 0.5),))}
    assert shares_of("C", made, MARKS)["BOP"].share == pytest.approx(0.75)
    assert shares_of("C", made, MARKS)["BOP"].sd == 0.0
    assert shares_of("X", made, MARKS)[UNKNOWN].share == 1.0
    nothing = {"C": Mixing("E", (Drawn("A", 0.0, 0.0), Drawn("B", 0.0, 0.0)))}
    assert shares_of("C", nothing, MARKS)["north"].share == pytest.approx(0.5)


def history(noise=None):
    """Two blends over, one event with two children that meet again; draws with errors."""

    def d(lot, dry, rel, key):
        return Drawn(lot, dry * (1.0 if noise is None else 1.0 + noise[key]), rel)

    twins = Mixing("E1", (d("A", 20.0, 0.05, 0), d("B", 20.0, 0.02, 1)))
    return {
        "C1": twins,
        "C2": twins,
        "D": Mixing("E2", (d("C1", 10.0, 0.03, 2), d("A", 5.0, 0.05, 3))),
        "F": Mixing("E3", (d("C2", 8.0, 0.04, 4), d("D", 12.0, 0.02, 5), d("B", 3.0, 0.06, 6))),
    }


def test_a_history_equals_a_simulation_of_its_weighings():
    rng = np.random.default_rng(3)
    n, sizes = 8_000, np.array([0.05, 0.02, 0.03, 0.05, 0.04, 0.02, 0.06])
    drawn = [
        shares_of("F", history(row), MARKS)["north"].share
        for row in rng.normal(0.0, sizes, (n, len(sizes)))
    ]
    said = shares_of("F", history(), MARKS)
    assert sum(s.share for s in said.values()) == pytest.approx(1.0)
    assert said["north"].share == pytest.approx(np.mean(drawn), abs=4 * np.std(drawn) / n**0.5)
    # The spread of n normal numbers is known to 1 / sqrt(2 n): four times 0.8 %, and curvature.
    assert said["north"].sd == pytest.approx(np.std(drawn), rel=0.035)
