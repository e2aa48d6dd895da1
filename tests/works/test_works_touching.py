"""Two loads that touch on a belt: what of each may lie in the other is kept and said."""

from dataclasses import replace

import pytest
from tests.works.plan_day_works import small_works
from tests.works.test_works_following import FEED_KG_H, SETTINGS

from wareleaf.works.recall import recall
from wareleaf.works.recall_fault import Fault
from wareleaf.works.run_stage import Off, finish_run
from wareleaf.works.sight import sight
from wareleaf.works.touching import mixed_kg, touches_said


@pytest.fixture
def small(tmp_path):
    return small_works(tmp_path)


def touching(small, after_h=2.0):
    """Two loads of 400 kg end to end on a belt, both taken off; their dried lots."""
    loads = [small.take(line, 400.0) for line in ("line-01", "line-02")]
    runs = [small.start("belt-1", loads[0].lot_id, **SETTINGS)]
    small.later(after_h)
    runs.append(small.start("belt-1", loads[1].lot_id, **SETTINGS))
    dried = []
    for run in runs:
        small.later(2.5)
        off = Off(40.0, 0.09, "kelp-balance", "kelp-floor-scale")
        dried += finish_run(small.works, "runa", run, [off])
    return loads, dried


def kept(small):
    starts = small.works.book.events_in_force(kind="stage_started")
    return [e.facts.get("touch") for e in starts]


def test_what_mixes_is_the_leaf_within_two_standard_deviations_of_the_touch():
    """By hand: 2 x 2 % of 2.5 h is 0.1 h; at 200 kg/h 20 kg, less what a gap leaves empty."""
    big = (400.0, 400.0)
    assert mixed_kg(0.02, 2.5, 200.0, 0.0, big) == pytest.approx(20.0)
    assert mixed_kg(0.02, 2.5, 200.0, 0.06, big) == pytest.approx(8.0)
    assert mixed_kg(0.02, 2.5, 200.0, 0.1, big) == 0.0
    assert mixed_kg(0.02, 2.5, 200.0, 9.0, big) == 0.0
    assert mixed_kg(0.0, 2.5, 200.0, 0.0, big) == 0.0
    assert mixed_kg(0.02, 2.5, 200.0, 0.0, (400.0, 5.0)) == 5.0, "no more than a load"


def test_the_event_that_follows_keeps_the_estimate(small):
    touching(small)
    first, second = kept(small)
    assert first is None
    assert second["mixed_kg"] == pytest.approx(2 * 0.02 * SETTINGS["residence_h"] * FEED_KG_H)
    assert (second["residence_spread"], second["gap_h"]) == (0.02, 0.0)


def test_a_recall_of_either_load_says_what_of_the_other_it_leaves_out(small):
    loads, dried = touching(small)
    for of, other, side in ((0, 1, "before"), (1, 0, "after")):
        found = recall(small.works, Fault("lot", loads[of].lot_id))
        assert dried[other].lot_id not in {a.lot.lot_id for a in found.lots}
        (said,) = [n for n in found.notes if "touch" in n]
        # 40 kg came off of 400 kg: 16 kg as fed are 1.6 kg
        assert said.startswith(
            f"Up to 1.6 kg (16.0 kg as fed) at the touch in {dried[other].lot_id} may be of the "
            f"load {side}, {dried[of].lot_id}:"
        )
        assert "It is not counted here" in said


def test_a_recall_that_counts_both_loads_says_nothing_of_their_touch(small):
    loads, dried = touching(small)
    seen = sight(small.works)
    assert touches_said(seen, [dried[0].lot_id, dried[1].lot_id]) == ()
    assert len(touches_said(seen, [dried[0].lot_id])) == 1
    assert len(touches_said(seen, [loads[1].lot_id])) == 1
    found = recall(small.works, Fault("machine", "belt-1"))
    assert not [n for n in found.notes if "touch" in n]


def test_loads_with_a_gap_between_them_do_not_mix(small):
    _, dried = touching(small, after_h=2.3)
    assert kept(small)[1]["mixed_kg"] == 0.0
    assert touches_said(sight(small.works), [dried[0].lot_id]) == ()


def test_a_belt_measured_with_marked_leaf_takes_its_own_spread(small):
    machines = [
        m.model_copy(update={"residence_spread": 0.05}) if m.id == "belt-1" else m
        for m in small.works.settings.equipment
    ]
    settings = small.works.settings.model_copy(update={"equipment": machines})
    small.works = replace(small.works, settings=settings)
    touching(small)
    assert kept(small)[1]["mixed_kg"] == pytest.approx(40.0)


def test_what_lies_on_the_belt_now_is_said_as_fed(small):
    loads = [small.take(line, 400.0) for line in ("line-01", "line-02")]
    small.start("belt-1", loads[0].lot_id, **SETTINGS)
    small.later(2.0)
    small.start("belt-1", loads[1].lot_id, **SETTINGS)
    (said,) = touches_said(sight(small.works), [loads[0].lot_id])
    assert said.startswith(f"Up to 16.0 kg as fed at the touch in {loads[1].lot_id} may be of")
