"""Declared weight: tolerances, sample factors and decisions."""

import math

import numpy as np
import pytest

from wareleaf import pack
from wareleaf.measure import BadInput, Evidence
from wareleaf.pack.fill import mean_factor


@pytest.mark.parametrize(
    ("nominal", "allowed"),
    [
        (5, 0.5),  # 9 % is 0.45, rounded up to the next tenth
        (50, 4.5),
        (75, 4.5),
        (100, 4.5),
        (150, 6.8),  # 4.5 % is 6.75
        (200, 9.0),
        (250, 9.0),
        (300, 9.0),
        (400, 12.0),
        (500, 15.0),
        (1000, 15.0),
        (3000, 45.0),
        (10000, 150.0),
    ],
)
def test_tolerable_deficiency(nominal, allowed):
    # Directive 76/211/EEC Annex I (read) and OIML R 87 (memory; 500 g to 15 g and 3 kg to 45 g
    # seen in a government guide) share these steps; rounding up from memory.
    for scheme in ("eu_76_211", "oiml_r87"):
        assert pack.tolerable_deficiency(nominal, scheme).amount == pytest.approx(allowed)


def test_oiml_goes_on_above_10_kg():
    # OIML R 87 table (memory): 150 g to 15 kg, then 1 %.
    assert pack.tolerable_deficiency(12_000).amount == 150.0
    assert pack.tolerable_deficiency(25_000).amount == 250.0
    with pytest.raises(BadInput):
        pack.tolerable_deficiency(12_000, "eu_76_211")
    with pytest.raises(BadInput):
        pack.tolerable_deficiency(60_000)


@pytest.mark.parametrize(
    ("n", "printed"), [(20, 0.640), (30, 0.503), (50, 0.379), (80, 0.295), (125, 0.234)]
)
def test_mean_factors(n, printed):
    # Directive 76/211/EEC Annex II prints .503 (30), .379 (50), .640 (20) (read); OIML R 87 .379,
    # .295, .234 (memory). Both are t(.995, n - 1)/sqrt(n), printed to three digits.
    assert mean_factor(n) == pytest.approx(printed, abs=5.1e-4)


@pytest.mark.parametrize(
    ("lot", "n", "k", "t1"),
    [(100, 50, 0.379, 3), (500, 50, 0.379, 3), (501, 80, 0.295, 5), (3201, 125, 0.234, 7)],
)
def test_oiml_plans(lot, n, k, t1):
    # OIML R 87:2016 (memory; n 50 and 125 seen in a government guide).
    plan = pack.plan_for(lot)
    assert (plan.n_mean, plan.k, plan.c1) == (n, k, t1)
    assert plan.evidence is Evidence.MEMORY


def test_eu_plans():
    # Directive 76/211/EEC Annex II (read): 30/30 (1,3)(4,5); 50/50 (2,5)(6,7); 80/80 (3,7)(8,9).
    plans = [pack.plan_for(lot, "eu_76_211") for lot in (100, 501, 3201)]
    assert [(p.n1, p.c1, p.r1, p.c2) for p in plans] == [
        (30, 1, 3, 4),
        (50, 2, 5, 6),
        (80, 3, 7, 8),
    ]
    assert {p.evidence for p in plans} == {Evidence.READ}


def packs(mean, sd, n, seed=1):
    z = np.random.default_rng(seed).standard_normal(n)
    z = (z - z.mean()) / z.std(ddof=1)
    return np.clip(mean + sd * z, 0.0, None)


def test_mean_test_turns_at_k_s():
    # By the rule: accepted while mean + k s >= declared; k 0.379, s 2: the edge is -0.758 g.
    assert pack.check_fill(500, 400, packs(499.25, 2.0, 50)).decision == "accept"
    found = pack.check_fill(500, 400, packs(499.23, 2.0, 50))
    assert found.decision == "reject"
    assert not found.mean_passes
    assert found.mean_limit == pytest.approx(-0.758)
    assert found.mean_error == pytest.approx(-0.77)


def test_t1_and_t2_counts():
    net = np.full(50, 505.0)
    net[:3] = 484.9  # short by 15.1, T is 15
    three = pack.check_fill(500, 400, net)
    assert (three.t1_count, three.t2_count, three.decision) == (3, 0, "accept")
    net[3] = 484.9
    assert pack.check_fill(500, 400, net).decision == "reject"
    one = np.full(50, 505.0)
    one[0] = 469.9  # short by more than 2 T
    found = pack.check_fill(500, 400, one)
    assert (found.t1_count, found.t2_count, found.decision) == (1, 1, "reject")


def test_a_pack_exactly_at_tolerance_is_not_beyond_it():
    net = np.full(50, 505.0)
    net[:10] = 485.0
    assert pack.check_fill(500, 400, net).t1_count == 0


def test_eu_double_plan_asks_for_a_second_sample():
    net = np.full(30, 510.0)
    net[:2] = 484.0
    assert pack.check_fill(500, 300, net, "eu_76_211").decision == "second_sample"
    net[2] = 484.0
    assert pack.check_fill(500, 300, net, "eu_76_211").decision == "reject"


def test_small_lots_are_weighed_pack_by_pack():
    assert pack.check_fill(500, 40, packs(500.0, 2.0, 40)).decision == "accept"
    assert pack.check_fill(500, 40, packs(499.9, 2.0, 40)).decision == "reject"
    with pytest.raises(BadInput, match="pack by pack"):
        pack.check_fill(500, 40, packs(500.0, 2.0, 20))


def test_more_packs_than_the_plan_make_it_stricter():
    net = packs(499.4, 2.0, 120)
    assert (
        pack.check_fill(500, 400, net).mean_limit > pack.check_fill(500, 400, net[:50]).mean_limit
    )


def test_each_step_is_shown():
    steps = pack.check_fill(500, 400, packs(501.0, 2.0, 50)).steps
    assert [s.name for s in steps] == [
        "tolerable deficiency",
        "sample",
        "mean error",
        "mean test",
        "beyond T",
        "beyond 2 T",
        "decision",
    ]


@pytest.mark.parametrize("sd", [1.0, 8.0, 20.0])
def test_target_fill_keeps_every_rule_and_no_more(sd):
    aim = pack.target_fill(500.0, sd)
    z = np.random.default_rng(5).standard_normal(400_000)
    net = aim.target + sd * z
    t1, t2 = np.mean(net < 485.0), np.mean(net < 470.0)
    # 400,000 draws: standard error of 2.5 % is 0.025 %, of 1e-4 is 1.6e-5.
    assert aim.target >= 500.0
    assert t1 <= 0.025 + 0.001
    assert t2 <= 1e-4 + 6e-5
    expected = {1.0: "mean", 8.0: "T1", 20.0: "T2"}[sd]
    assert aim.binding == expected
    assert dict(aim.needs)[expected] == pytest.approx(aim.target)


def test_target_fill_by_hand():
    # z(0.975) = 1.95996 (normal table): 500 - 15 + 1.95996 * 10 = 504.6.
    assert pack.target_fill(500.0, 10.0, t2_share=0.01).target == pytest.approx(504.6, abs=1e-3)
    assert pack.target_fill(500.0, 1.0, mean_uncertainty=0.5).overfill == pytest.approx(1.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: pack.check_fill(500, 400, [500.0] * 49),
        lambda: pack.check_fill(500, 400, [500.0] * 401),
        lambda: pack.check_fill(500, 400, [math.nan] * 50),
        lambda: pack.check_fill(500, 400, [-1.0] * 50),
        lambda: pack.check_fill(500, 400, []),
        lambda: pack.check_fill(0.0, 400, [1.0] * 50),
        lambda: pack.check_fill(500, 0, []),
        lambda: pack.check_fill(500, 400, [500.0] * 50, "house_rule"),
        lambda: pack.target_fill(500, -1.0),
        lambda: pack.target_fill(500, 1.0, t1_share=0.7),
    ],
)
def test_bad_input(call):
    with pytest.raises(BadInput):
        call()
