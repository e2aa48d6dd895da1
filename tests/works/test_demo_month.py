"""The whole demo: every planted fault is found, where it is, and nothing else is cried."""

from datetime import datetime, timedelta

import pytest

from wareleaf.works.demo.faults import PLANTED
from wareleaf.works.demo.opening import DEMO_DAY
from wareleaf.works.trace_lot import trace
from wareleaf.works.watch import findings

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def found(month_folder):
    from wareleaf.works.demo.opening import open_demo

    works = open_demo(month_folder)
    yield findings(works)
    works.book.close()


def of(found, kind):
    return [f for f in found if f.kind == kind]


def day(days_ago: int):
    return DEMO_DAY - timedelta(days=days_ago)


def test_the_weigh_error_is_found(found):
    (wrong,) = of(found, "weight")
    assert wrong.at.date() == day(PLANTED.weigh_error[0])
    assert wrong.numbers["ratio"] == pytest.approx(1.0 + PLANTED.weigh_error_share, abs=0.04)


def test_the_drifting_meter_is_found_with_its_pace_and_onset(found):
    (drifting,) = of(found, "meter")
    assert drifting.subjects == ("kelp-quick",)
    assert drifting.numbers["per_week"] == pytest.approx(7.0 * PLANTED.drift_per_day, rel=0.35)
    onset = datetime.fromisoformat(drifting.numbers["onset_at"]).date()
    assert abs((onset - day(PLANTED.drift_from)).days) <= 4


def test_the_under_dried_lot_is_found(found):
    (wet,) = of(found, "wet")
    assert wet.at.date() == day(PLANTED.under_dried[0])
    assert wet.numbers["moisture_wb"] > wet.numbers["limit_wb"]


def test_the_lot_with_iodine_for_one_market_too_high_is_found(found):
    (beyond,) = of(found, "limit")
    assert beyond.numbers["failing"] == {"AU": ["iodine"]}
    assert {"FR", "EU"} <= set(beyond.numbers["fine"])
    # Washed and blanched on its day, on the belt that day or the next.
    assert beyond.at.date() - day(PLANTED.high_iodine[0]) in (timedelta(0), timedelta(days=1))


def test_the_short_pack_run_is_found(found):
    (short,) = of(found, "fill")
    assert short.at.date() == day(PLANTED.short_pack)
    assert short.numbers["mean_error_g"] < 0.0


def test_the_split_that_does_not_add_up_is_found(found):
    splits = [f for f in of(found, "balance") if f.sentence.startswith("Split")]
    (missing,) = splits
    assert missing.at.date() == day(PLANTED.bad_split)


def test_clean_days_raise_no_alarm(found):
    """All that is said belongs to a planted fault: six, and the wash after a false weight."""
    rest = [f for f in of(found, "balance") if not f.sentence.startswith("Split")]
    assert {f.at.date() for f in rest} <= {day(PLANTED.weigh_error[0])}
    kinds = {"weight", "meter", "wet", "limit", "fill", "balance"}
    assert {f.kind for f in found} == kinds
    assert len(found) - len(rest) == 6


def test_the_month_is_whole(month_works):
    report = month_works.book.verify()
    assert report.ok, report.message
    assert report.events > 2000
    first = month_works.book.events(limit=1)[0].event.happened_at.date()
    assert first == day(30)


def test_the_iodine_lot_was_sold_where_it_may_go(month_works):
    """Its flake is released for France and the Union, and not for Australia."""
    (beyond,) = [f for f in findings(month_works) if f.kind == "limit"]
    made = trace(month_works, beyond.subjects[0]).lots.values()
    released = [lot for lot in made if lot.released_for]
    assert released
    assert all("AU" not in lot.released_for for lot in released if lot.form != "packed")


def test_one_day_brings_more_than_the_belts_can_take(month_works):
    from wareleaf.works.demo.kelp_days import OVERLOADED_DAYS_AGO

    start = datetime.combine(day(OVERLOADED_DAYS_AGO), datetime.min.time())
    start = start.replace(tzinfo=month_works.settings.zone)
    taken = month_works.book.events_in_force(
        kind="intake", since=start, until=start + timedelta(days=1), site="kelp"
    )
    feed_kg = 1.07 * sum(m.mass_g for e in taken for m in e.outputs) / 1000.0
    belts_kg_h = sum(m.rate_kg_h for m in month_works.settings.equipment if m.kind == "belt_dryer")
    assert feed_kg / belts_kg_h + 5.0 > 22.0 - 9.5
    dried_later = month_works.book.lots(site="kelp", form="dried")
    assert [lot for lot in dried_later if lot.made_at > start + timedelta(days=1)]
