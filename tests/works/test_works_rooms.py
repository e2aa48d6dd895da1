"""Bins and silos: masses close, the rule decides what a taking is made of, a trace says so."""

import pytest
from tests.works.plan_day_works import small_works

from wareleaf.measure import BadInput
from wareleaf.works.handle_lot import free, hold
from wareleaf.works.room_view import room_view, rooms_passed
from wareleaf.works.rooms import put_in, take_out
from wareleaf.works.run_stage import start_run
from wareleaf.works.trace_lot import trace


@pytest.fixture
def small(tmp_path):
    return small_works(
        tmp_path, change={'rule = "mixed"\ncapacity_kg': 'rule = "mixed"\ncut = 0.01\ncapacity_kg'}
    )


def filled(small, *kg):
    lots = [small.take(f"line-0{1 + k % 2}", each) for k, each in enumerate(kg)]
    for lot in lots:
        small.later(0.1)
        put_in(small.works, "teo", "flake-silo", [lot.lot_id])
    return lots


def out(small, kg):
    small.later(0.1)
    return take_out(small.works, "teo", "flake-silo", kg, "kelp-floor-scale")


def test_a_taking_is_made_of_both_lots_by_their_share(small):
    filled(small, 600.0, 200.0)
    lot = out(small, 400.0)
    shares = {o.source_id: o.share for o in trace(small.works, lot.lot_id).origins}
    assert shares == pytest.approx({"line-01": 0.75, "line-02": 0.25}, abs=1e-5)
    view = room_view(small.works, "flake-silo")
    assert view.mass_kg == pytest.approx(400.0)
    assert sum(x.remaining_mass_g for x in view.lots) + lot.mass_g == 800_000
    assert small.works.book.verify().ok


def test_the_last_of_a_lot_goes_out_and_the_trace_says_so(small):
    filled(small, 300.0)
    out(small, 297.0)
    small.later(0.1)
    put_in(small.works, "teo", "flake-silo", [small.take("line-02", 800.0).lot_id])
    lot = out(small, 100.0)
    (words,) = rooms_passed(small.works, trace(small.works, lot.lot_id).lots.values())
    assert words.startswith(f"{lot.lot_id} out of Flake silo: all of it mixes.")
    assert "Below 1 %" in words
    assert "as much may still have come out later" in words
    assert len(room_view(small.works, "flake-silo").lots) == 1


def test_a_lot_in_a_room_is_not_used_by_itself(small):
    filled(small, 300.0)
    (inside,) = room_view(small.works, "flake-silo").lots
    with pytest.raises(BadInput, match="lies loose in Flake silo, where leaf mixes"):
        start_run(small.works, "teo", "wash-1", [inside.lot_id])


def test_what_would_taint_or_overfill_a_room_is_refused(small):
    filled(small, 300.0)
    other = small.take("line-11", 100.0)
    with pytest.raises(BadInput, match="one leaf in one form at a time"):
        put_in(small.works, "teo", "flake-silo", [other.lot_id])
    held = small.take("line-01", 100.0)
    hold(small.works, "teo", held.lot_id, "smells of diesel")
    with pytest.raises(BadInput, match=r"on hold .*would reach all"):
        put_in(small.works, "teo", "flake-silo", [held.lot_id])
    much = small.take("line-01", 2300.0)
    with pytest.raises(BadInput, match="Flake silo holds 2500 kg"):
        put_in(small.works, "teo", "flake-silo", [much.lot_id])
    with pytest.raises(BadInput, match=r"Flake silo holds 300\.000 kg"):
        out(small, 301.0)
    with pytest.raises(BadInput, match="There is no room 'attic'"):
        room_view(small.works, "attic")


def test_a_hold_in_a_room_stops_the_room(small):
    filled(small, 300.0, 100.0)
    first = room_view(small.works, "flake-silo").lots[0]
    hold(small.works, "teo", first.lot_id, "metal found")
    with pytest.raises(BadInput, match="is on hold, and all that lies there mixes"):
        out(small, 10.0)
    free(small.works, "bex", first.lot_id, "it was a spoon")
    assert out(small, 10.0).mass_g == 10_000
