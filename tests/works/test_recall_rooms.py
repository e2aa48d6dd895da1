"""A recall through a silo: the taking is followed by the room's rule, and the cut is said."""

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.measure import BadInput
from wareleaf.works.recall import recall
from wareleaf.works.recall_drill import hold_all
from wareleaf.works.recall_fault import Fault
from wareleaf.works.rooms import put_in, take_out


def test_a_recall_goes_through_a_silo_and_says_where_the_line_was_drawn(tmp_path):
    rule = 'rule = "mixed"\ncapacity_kg'
    small = small_works(tmp_path, change={rule: 'rule = "mixed"\ncut = 0.01\ncapacity_kg'})

    def tip(source, kg):
        small.later(0.1)
        put_in(small.works, "teo", "flake-silo", [small.take(source, kg).lot_id])

    def out(kg):
        small.later(0.1)
        return take_out(small.works, "teo", "flake-silo", kg, "kelp-floor-scale")

    tip("line-01", 300.0)
    first = out(200.0)
    tip("line-02", 800.0)
    second = out(450.0)
    fault = Fault("source", "line-01")
    found = recall(small.works, fault)
    share = {a.lot.lot_id: a.share for a in found.lots}
    assert share[first.lot_id] == pytest.approx(1.0)
    assert share[second.lot_id] == pytest.approx(100.0 / 900.0, abs=1e-4)  # by the mixing rule
    assert found.last.accounted_g + found.last.unexplained_g == found.last.total_g
    assert any(n.startswith(f"{second.lot_id} out of Flake silo: all of it") for n in found.notes)

    held = {e.facts["lot_id"] for e in hold_all(small.works, "bex", fault, "shells")}
    assert held == {a.lot.lot_id for a in found.here}
    with pytest.raises(BadInput):  # what still lies in the silo holds some of it
        out(10.0)
