"""Bounds and proofs against trying everything out."""

from itertools import permutations

import numpy as np
import pytest
from tests.plan.plan_cases import one_step, random_day

from wareleaf.plan import _bound
from wareleaf.plan._problem import build
from wareleaf.plan.board import Day, Machine
from wareleaf.plan.day import plan_day

HOLD, SPOIL = 1.0, 9.0


def one_dryer(seed, count=6):
    rng = np.random.default_rng(seed)
    loads = tuple(
        one_step(
            f"load {k}",
            ready_h=float(rng.integers(0, 6)),
            hours=float(rng.integers(1, 5)),
            value_per_kg=float(rng.uniform(0.5, 3.0)),
            refuse_price_per_kg=float(rng.uniform(0.2, 0.6)),
            hold_h=HOLD,
            spoil_h=SPOIL,
        )
        for k in range(count)
    )
    return Day(loads, (Machine("dryer", "dryer"),), early_price_per_h=0.0, grid_min=60)


def best_of_all(day):
    """Every order; a load that would cost more than its way out, or spoil, is left out.

    On one machine some best plan runs its loads in some order, each as early as it can, so trying
    every order with every choice of who stays out finds it.
    """
    best = np.inf
    for order in permutations(day.loads):
        costs = {0.0: 0.0}  # time the machine is free -> least cost so far
        for load in order:
            nxt = {}
            for free, cost in costs.items():
                out = cost + load.refuse_price_per_kg * load.mass_kg
                nxt[free] = min(nxt.get(free, np.inf), out)
                start = max(free, load.ready_h)
                wait = start - load.ready_h
                if wait <= SPOIL:
                    lost = max(0.0, wait - HOLD) / (SPOIL - HOLD)
                    end = start + load.route[0].options[0].duration_h
                    run = cost + lost * load.value_per_kg * load.mass_kg
                    nxt[end] = min(nxt.get(end, np.inf), run)
            costs = nxt
        best = min(best, *costs.values())
    return best


@pytest.mark.parametrize("seed", range(6))
def test_a_proved_plan_is_the_best_of_all(seed):
    day = one_dryer(seed)
    plan = plan_day(day, time_limit_s=10.0)
    assert plan.proved
    assert plan.cost.total == pytest.approx(best_of_all(day), abs=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_from_machine_hours_lies_under_the_best_of_all(seed):
    day = one_dryer(seed)
    bound = _bound.lower_bound(build(day), 10.0)
    assert 0.0 <= bound <= best_of_all(day) + 1e-6


def test_the_bound_from_machine_hours_says_something_on_overloaded_days():
    found = [
        _bound.lower_bound(build(one_dryer(s)), 10.0) / best_of_all(one_dryer(s)) for s in range(6)
    ]
    assert np.mean(found) > 0.5


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_the_bound_lies_under_every_plan_of_a_mixed_works(seed):
    day = random_day(seed + 50, loads=3)
    bound = _bound.lower_bound(build(day), 10.0)
    for other in range(3):
        assert bound <= plan_day(day, time_limit_s=0.0, seed=other).cost.total + 1e-6
