"""The book as a network: planted mistakes are found, honest stretches pass. Data invented."""

import numpy as np
import pytest
from tests.book.book_makers import event, finish, intake, made, ship, split, start

from wareleaf import book
from wareleaf.book.reconcile import network_of_book, reconcile
from wareleaf.measure import BadInput


def settle(events, quantity="dry", **more):
    found = book.fold(events)
    network = network_of_book(found.events, found.lots, quantity, **more)
    return network, reconcile(network.flows, network.known)


def day(rng=None, wrong=None):
    """Three loads washed, combined, dried and split; every weight with its error."""
    rng = rng or np.random.default_rng(0)

    def lot(lot_id, mass, dry, form="fresh"):
        sd_m, sd_d = 0.002 * mass, 0.01 * dry
        m, d = mass + sd_m * rng.standard_normal(), dry + sd_d * rng.standard_normal()
        if wrong == lot_id:
            d *= 1.25
            m *= 1.25
        return made(lot_id, round(m), round(d), form=form, mass_sd_g=sd_m, dry_sd_g=sd_d)

    events, washed = [], []
    for k in range(3):
        raw = lot(f"K{k}", 1_000_000, 100_000)
        wet = lot(f"W{k}", 1_000_000, 98_000, "washed")
        washed.append(wet)
        events += [
            event(f"i{k}", "intake", k, outputs=[raw]),
            start(f"s{k}", f"r{k}", [raw.lot_id], minute=10 + k),
            finish(
                f"f{k}",
                f"r{k}",
                [(raw.lot_id, raw.mass_g, raw.dry_g)],
                [wet],
                [("leached", 2_000, 2_000)],
                minute=40 + k,
            ),
        ]
    dried = lot("D", 320_000, 293_000, "dried")
    inputs = [(w.lot_id, w.mass_g, w.dry_g) for w in washed]
    events += [
        start("s9", "r9", [w.lot_id for w in washed], minute=60),
        finish("f9", "r9", inputs, [dried], [("water", 2_679_000, 0), ("dust", 1000, 1000)]),
    ]
    return events


@pytest.mark.parametrize("seed", range(6))
def test_an_honest_day_passes(seed):
    _, out = settle(day(np.random.default_rng(seed)))
    assert out.global_test.dof == 4  # three washes and the dryer
    assert out.suspects == ()


@pytest.mark.parametrize("wrong", ["W0", "W2", "D"])
def test_one_wrong_weighing_is_found(wrong):
    network, out = settle(day(wrong=wrong))
    assert out.global_test.p_value < 1e-6
    first = out.suspects[0]
    named = {network.meaning[n].lot_id for n in (first.name, *first.alike)}
    assert wrong in named
    assert abs(first.error) == pytest.approx(0.25 * (98_000 if wrong != "D" else 293_000), rel=0.15)


def test_a_balance_in_the_answer_holds_at_every_event():
    network, out = settle(day())
    left: dict[str | None, float] = {}
    for flow, f in zip(network.flows, out.flows, strict=True):
        assert f.reconciled is not None
        left[flow.start] = left.get(flow.start, 0.0) - f.reconciled
        left[flow.end] = left.get(flow.end, 0.0) + f.reconciled
    left.pop(None)
    assert len(left) == 11  # seven lots and four runs
    assert max(map(abs, left.values())) < 1e-6


def test_a_split_is_checked_by_its_weights():
    """Moisture is shared in a split, so 5 kg too much show in mass and not in dry matter."""
    sds = {"mass_sd_g": 100.0, "dry_sd_g": 4000.0}
    events = [
        intake("E1", "K1", 1_000_000, 100_000, **sds),
        event(
            "E2",
            "split",
            10,
            inputs=[("K1", 1_000_000, 100_000)],
            outputs=[made("A", 500_000, 50_000, **sds), made("B", 505_000, 50_500, **sds)],
        ),
    ]
    assert settle(events)[1].suspects == ()
    _, mass = settle(events, "mass")
    assert mass.global_test.statistic == pytest.approx(5000.0**2 / (3 * 100.0**2), rel=1e-4)
    assert mass.suspects


def test_parts_stock_shipments_and_gains():
    events = [
        intake("E1", "K1", 100_000, 90_000, mass_sd_g=50.0, dry_sd_g=80.0),
        split("E2", "K1", {"A": (40_000, 36_000)}, minute=10),
        ship("E4", [("A", 10_000, 9_000)], minute=30),
        event(
            "E5",
            "combine",
            40,
            inputs=[("A", 30_000, 27_000), ("K1", 60_000, 54_000)],
            outputs=[made("C", 90_100, 81_003, mass_sd_g=40.0, dry_sd_g=70.0)],
            streams=[("added", -100, 0), ("rounding", 0, -3)],
        ),
    ]
    release = event("E3", "release", 20, facts={"lot_id": "A", "markets": ["north"]})
    network, out = settle([*events[:2], release, *events[2:]], "mass")
    by = {m.what + m.lot_id + m.event_id + m.stream: out.of(n) for n, m in network.meaning.items()}
    assert by["lossE5added"].reconciled == pytest.approx(100.0, abs=15.0)
    assert out.suspects == ()
    assert "stockK1" not in by  # 40 kg and 60 kg emptied it
    dry_network, _ = settle([*events[:2], release, *events[2:]])
    rounding = next(f for f in dry_network.flows if f.name.endswith("rounding"))
    assert rounding.start is None
    assert rounding.measured == 3


def test_a_loss_needs_an_uncertainty():
    with pytest.raises(BadInput, match="fraction above 0"):
        network_of_book([], {}, "dry", 0.0)


def test_leaf_that_was_spilt_blames_the_event_and_no_scale():
    """Both sides of the split are weighed twice, so only the split itself can be wrong."""
    sds = {"mass_sd_g": 100.0, "dry_sd_g": 100.0}
    events = [
        intake("E1", "K1", 1_000_000, 100_000, **sds),
        start("s1", "r1", ["K1"], minute=5),
        finish("f1", "r1", [("K1", 1_000_000, 100_000)],
               [made("W", 1_000_000, 100_000, form="washed", **sds)], minute=8),
        event(
            "E2",
            "split",
            10,
            inputs=[("W", 1_000_000, 100_000)],
            outputs=[made("A", 470_000, 47_000, **sds), made("B", 500_000, 50_000, **sds)],
        ),
    ]  # fmt: skip
    for k, (lot, dry) in enumerate((("A", 47_000), ("B", 50_000))):
        run, after = f"q{k}", made(f"{lot}2", 10 * dry, dry, form="washed", **sds)
        events += [
            start(f"s{run}", run, [lot], minute=20 + k),
            finish(f"f{run}", run, [(lot, 10 * dry, dry)], [after], minute=30 + k),
        ]
    network, out = settle(events)
    (first,) = [s for s in out.suspects if s.left_out]
    meaning = network.meaning[first.name]
    assert (meaning.what, meaning.event_id) == ("gap", "E2")
    assert -first.error == pytest.approx(3000.0, abs=1.0)  # 3 kg more than the nothing booked
    assert first.alike == ()
    assert first.test_after.p_value > 0.99
