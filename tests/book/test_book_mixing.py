"""Rooms in which leaf mixes: limits, conservation, and the closed forms of residence time."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import gamma

from wareleaf.book.mixing import Mixing, Move, lie, still_there, tail_g, take
from wareleaf.measure import BadInput

IN_ORDER, MIXED = Mixing("in_order"), Mixing("mixed", cut=0.0)
TWO = (Move(6000, "a"), Move(2000, "b"))


def tanks(n, cut=0.0):
    return Mixing("tanks", n, cut)


def test_in_order_the_first_lot_comes_out_first():
    left = {"a": 6000, "b": 2000}
    assert take(IN_ORDER, TWO, left, 5000).parts_g == {"a": 5000}
    assert take(IN_ORDER, TWO, left, 7000).parts_g == {"a": 6000, "b": 1000}


def test_a_mixture_gives_each_lot_by_its_share():
    assert take(MIXED, TWO, {"a": 6000, "b": 2000}, 4000).parts_g == {"a": 3000, "b": 1000}


def test_one_tank_is_a_mixture_and_many_come_near_first_in_first_out():
    left = {"a": 5000, "b": 5000}
    moves = (Move(5000, "a"), Move(5000, "b"))
    assert take(tanks(1), moves, left, 3000).parts_g == take(MIXED, moves, left, 3000).parts_g
    parts = [take(tanks(n), moves, left, 3000).parts_g.get("a", 0) for n in (1, 2, 5, 20, 50)]
    assert parts == sorted(parts)
    assert parts[0] == 1500
    assert parts[-1] > 2900  # in order it would be 3000


def test_an_emptied_room_gives_all_and_starts_anew():
    moves = (*TWO, Move(8000), Move(1000, "c"))
    assert take(tanks(3), TWO, {"a": 6000, "b": 2000}, 8000).parts_g == {"a": 6000, "b": 2000}
    assert take(tanks(3), moves, {"a": 0, "b": 0, "c": 1000}, 400).parts_g == {"c": 400}


@pytest.mark.parametrize("n", [1, 2, 4])
def test_changing_content_agrees_with_the_equations_integrated(n):
    """Filling and emptying equal tanks, against SciPy's DOP853 on the balances of each tank."""
    moves = (Move(3000, "a"), Move(2000, "b"), Move(1500), Move(1000, "c"), Move(2500))
    cells = np.zeros((n, 3))
    for move in moves:
        total = cells.sum()
        column = "abc".find(move.lot_id) if move.lot_id else -1
        if total == 0:
            cells[:, column] = move.mass_g / n
            continue

        def balances(m, x, total=total, column=column):
            x = x.reshape(n, 3)
            size = (total + m if column >= 0 else total - m) / n
            made = np.zeros_like(x)
            for k in range(n):
                passed = (n - k - 1) / n if column >= 0 else (k + 1) / n
                flow = passed * x[k] / size
                made[k] -= flow
                if k + 1 < n:
                    made[k + 1] += flow
            if column >= 0:
                made[0, column] += 1.0
            return made.ravel()

        span = (0.0, float(move.mass_g))
        found = solve_ivp(balances, span, cells.ravel(), "DOP853", rtol=1e-11, atol=1e-9)
        cells = found.y[:, -1].reshape(n, 3)
    np.testing.assert_allclose(lie(tanks(n), moves, "abc"), cells, rtol=1e-7, atol=1e-5)


@pytest.mark.parametrize("n", [1, 3])
def test_residence_time_is_that_of_tanks_in_series(n):
    """A small lot at constant content washes out as the gamma distribution says (SciPy)."""
    content, step = 100_000, 100
    moves = [Move(content - step, "old"), Move(step, "lot")]
    for k in range(1000):
        moves += [Move(step), Move(step, f"next {k}")]
    for taken in (200, 500, 1000):
        mine = lie(tanks(n), moves[: 2 + 2 * taken], ["lot"]).sum() / step
        q = taken * step / content
        # Alternating small fillings and takings stand for a steady flow: first order in the step.
        assert mine == pytest.approx(gamma.sf(q, n, scale=1 / n), abs=3 * step / content)
        assert still_there(tanks(n), taken * step, content) == pytest.approx(
            gamma.sf(q, n, scale=1 / n), rel=1e-12
        )


def test_the_tail_of_a_mixture_is_the_logarithm():
    assert tail_g(MIXED, 1000.0, 0.01) == pytest.approx(1000.0 * math.log(100.0))
    assert tail_g(IN_ORDER, 1000.0) == 1000.0
    assert still_there(IN_ORDER, 999.0, 1000.0) == 1.0
    assert still_there(IN_ORDER, 1000.0, 1000.0) == 0.0
    assert tail_g(tanks(5), 1000.0, 0.01) < tail_g(tanks(2), 1000.0, 0.01)


def test_the_cut_takes_a_last_remainder_and_says_so():
    moves = (Move(10_000, "a"), Move(9_900), Move(500_000, "b"))
    left = {"a": 100, "b": 500_000}
    free = take(Mixing("mixed", cut=0.0), moves, left, 100_000)
    assert free.parts_g == {"a": 20, "b": 99_980}
    assert free.closed_g == {}
    cut = take(Mixing("mixed", cut=0.001), moves, left, 100_000)
    assert cut.parts_g == {"a": 100, "b": 99_900}
    assert cut.closed_g == {"a": 80}


def test_the_book_rules_over_what_the_moves_say():
    """A corrected weight changes what is left of a lot; the taking follows it."""
    assert take(MIXED, TWO, {"a": 3000, "b": 3000}, 3000).parts_g == {"a": 1500, "b": 1500}


ROOMS = st.one_of(
    st.just(IN_ORDER),
    st.builds(Mixing, st.just("tanks"), st.integers(1, 6), st.sampled_from([0.0, 0.001, 0.02])),
)


@settings(max_examples=60, deadline=None)
@given(ROOMS, st.lists(st.tuples(st.booleans(), st.integers(1, 50_000)), min_size=2, max_size=14))
def test_every_gram_of_every_lot_comes_out_once(mixing, steps):
    moves, left, came, out = [], {}, {}, {}
    for k, (filling, grams) in enumerate(steps):
        content = sum(left.values())
        if filling or content == 0:
            moves.append(Move(grams, f"lot {k}"))
            left[f"lot {k}"] = came[f"lot {k}"] = grams
            continue
        mass_g = min(grams, content)
        taking = take(mixing, moves, left, mass_g)
        assert sum(taking.parts_g.values()) == mass_g
        for lot_id, g in taking.parts_g.items():
            assert 0 < g <= left[lot_id]
            left[lot_id] -= g
            out[lot_id] = out.get(lot_id, 0) + g
        assert all(left[lot_id] == 0 for lot_id in taking.closed_g)
        assert sum(taking.closed_g.values()) <= len(left) * (mixing.cut * content + 1)
        moves.append(Move(mass_g))
    for lot_id, g in came.items():
        assert out.get(lot_id, 0) + left[lot_id] == g


@pytest.mark.parametrize(
    ("do", "says"),
    [
        (lambda: Mixing("shaken"), "rule is 'shaken'; it must be one of in_order, mixed, tanks"),
        (lambda: Mixing("tanks", 0), "tanks is 0; it must be from 1 to 50"),
        (lambda: Mixing(cut=0.5), r"cut is 0.5; it must be from 0 to 0.05"),
        (lambda: take(MIXED, TWO, {"a": 10, "b": 0}, 11), "but the room holds 10 g"),
        (lambda: take(MIXED, TWO, {"a": 10}, 0), "mass_g is 0; it must be above 0"),
        (lambda: take(MIXED, TWO, {"z": 10}, 5), "z lies there but never came in"),
        (lambda: tail_g(MIXED, 0.0), "content_g is 0; it must be above 0"),
        (lambda: tail_g(MIXED, 1.0, 1.0), "share is 1; it must be between 0 and 1"),
    ],
)
def test_what_cannot_be_is_refused(do, says):
    with pytest.raises(BadInput, match=says):
        do()
