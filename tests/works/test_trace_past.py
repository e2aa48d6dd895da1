"""A trace as known on an earlier day: what was recorded or corrected later is left out."""

from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import handle_lot
from wareleaf.works.house import create_works, open_works
from wareleaf.works.take_in import Load, take_in
from wareleaf.works.trace_lot import trace

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))
SIX = datetime(2026, 5, 8, 6, 0, tzinfo=UTC)
FIVE = SIX - timedelta(hours=1)


@pytest.fixture
def day(tmp_path):
    """Taken in at 6, split at 7, one part split at 8; at 9 it turns out to have come at 5."""
    hour = {"now": SIX}
    create_works(tmp_path / "works", SETTINGS).book.close()
    works = open_works(tmp_path / "works", lambda: hour["now"])
    load = Load("line-11", gross_kg=300.0, tare_kg=0.0, meter="quay-scale")
    event, lot = take_in(works, "teo", load)
    hour["now"] = SIX + timedelta(hours=1)
    first, _ = handle_lot.split(works, "runa", lot.lot_id, [100.0, 200.0])
    hour["now"] = SIX + timedelta(hours=2)
    handle_lot.split(works, "runa", first.lot_id, [40.0, 60.0])
    hour["now"] = SIX + timedelta(hours=3)
    handle_lot.correct(works, "ilsa", event.event_id, "it came at 5", changes={"happened_at": FIVE})
    hour["now"] = SIX + timedelta(hours=4)
    yield works, lot.lot_id, first.lot_id
    works.book.close()


def test_every_hour_has_the_genealogy_it_knew(day):
    works, lot, _ = day
    sizes = [
        len(trace(works, lot, SIX + timedelta(hours=h, minutes=30)).forward.nodes) for h in range(4)
    ]
    assert sizes == [1, 3, 5, 5]
    assert trace(works, lot).known_at is None


def test_a_correction_is_not_known_before_it_was_made(day):
    works, lot, _ = day
    before = trace(works, lot, SIX + timedelta(hours=2, minutes=30))
    assert before.lot.made_at == SIX
    assert trace(works, lot).lot.made_at == FIVE
    assert trace(works, lot, SIX + timedelta(hours=3, minutes=30)).lot.made_at == FIVE


def test_as_known_now_is_the_trace(day):
    works, lot, part = day
    for each in (lot, part):
        now, then = trace(works, each), trace(works, each, works.now())
        assert then.known_at == works.now()
        for way in ("back", "forward"):
            a, b = getattr(now, way), getattr(then, way)
            assert {(n.lot_id, n.level, n.end) for n in a.nodes} == {
                (n.lot_id, n.level, n.end) for n in b.nodes
            }
            assert {n.lot_id: n.share for n in a.nodes} == pytest.approx(
                {n.lot_id: n.share for n in b.nodes}
            )
        assert now.origins == then.origins


@pytest.mark.parametrize(
    ("hours", "words"),
    [(0.5, "There was no lot"), (9.0, "has not come yet"), (-9.0, "no entry yet")],
)
def test_a_moment_that_cannot_be_shown_is_refused(day, hours, words):
    works, _, part = day
    with pytest.raises(BadInput, match=words):
        trace(works, part, SIX + timedelta(hours=hours))
