"""A run on a machine: what is refused, what is kept, and that mass closes with water."""

from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path

import pytest
from tests.fresh_works import fresh_works

from wareleaf.measure import BadInput
from wareleaf.works.correct_weights import correct_value, correct_weights
from wareleaf.works.floor import find_run, floor
from wareleaf.works.house import Works
from wareleaf.works.predict import predict
from wareleaf.works.run_stage import Off, finish_run, record_reading, start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))
EVENING = datetime(2026, 4, 14, 20, 0, tzinfo=UTC)


class Clock:
    """A clock the test moves."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture
def clock():
    return Clock(EVENING)


@pytest.fixture
def works(tmp_path, clock):
    made = fresh_works(tmp_path / "works", SETTINGS)
    return Works(made.settings, made.book, clock=clock, folder=made.folder)


def tea(works, kg=600.0, source="field-a"):
    load = Load(source=source, gross_kg=kg, tare_kg=0.0, meter="leaf-scale", moisture_wb=0.77)
    return take_in(works, "davin", load)[1]


def test_a_wither_that_never_gets_there_still_starts_and_says_what_is_not_known(works):
    """One spring day and night do not take leaf to 50 %: the forecast is kept without an hour."""
    lot = tea(works, 1150.0)
    run_id = start_run(
        works, "davin", "trough-1", [lot.lot_id], {"target_moisture_wb": 0.50, "heating_k": 0.0}
    )
    kept = works.book.events(kind="stage_started")[0].event.facts["predicted"]
    assert kept["duration_sd_h"] is None
    view = next(v for v in floor(works, "tea") if v.run and v.run.run_id == run_id)
    assert view.finish_at is None


def test_what_is_said_of_a_wither_is_of_the_hours_it_lies(works):
    """Thirty hours are looked ahead; leaf that is there after eight is not judged at thirty."""
    lot = tea(works, 640.0)
    settings = {"target_moisture_wb": 0.70, "heating_k": 6.0}
    trough = works.settings.equipment_of("trough-1")
    seen = predict(works, trough, [lot], settings, works.now())
    assert seen.duration_h < 20.0
    told = [w for w in seen.warnings if "turn the air round" in w]
    assert all(float(w.split("about ")[1].split(" h")[0]) < seen.duration_h for w in told)
    assert seen.detail["hours_since_plucking"] < 30.0
    assert seen.moisture_wb_out == 0.70
    assert seen.moisture_wb_out_sd < 0.03  # at 30 h it is 5 points and more


def test_a_busy_machine_and_leaf_that_is_elsewhere_are_refused(works):
    first, second = tea(works), tea(works)
    start_run(works, "davin", "trough-1", [first.lot_id])
    with pytest.raises(BadInput, match="is busy with"):
        start_run(works, "davin", "trough-1", [second.lot_id])
    with pytest.raises(BadInput, match="on a machine already"):
        start_run(works, "davin", "trough-2", [first.lot_id])


def test_two_kinds_of_leaf_do_not_share_a_run(works):
    black, green = tea(works), tea(works, source="field-c")
    with pytest.raises(BadInput, match="one kind of leaf"):
        start_run(works, "davin", "trough-1", [black.lot_id, green.lot_id])


@pytest.mark.parametrize(
    ("settings", "says"),
    [({"steam": 3.0}, "no setting steam"), ({"heating_k": 40.0}, "from 0 to 12 K")],
)
def test_settings_the_machine_does_not_have_are_refused(works, settings, says):
    lot = tea(works)
    before = len(works.book.events())
    with pytest.raises(BadInput, match=says):
        start_run(works, "davin", "trough-1", [lot.lot_id], settings)
    assert len(works.book.events()) == before


def test_water_closes_the_mass_and_missing_dry_matter_stays_visible(works, clock):
    lot = tea(works)
    run_id = start_run(works, "davin", "trough-1", [lot.lot_id])
    clock.at += timedelta(hours=14)
    off = Off(mass_kg=430.0, moisture_wb=0.69, moisture_meter="tea-oven", scale="tea-floor-scale")
    (withered,) = finish_run(works, "davin", run_id, [off])
    event = works.book.event(withered.made_by).event
    dry_in, dry_out = 600_000 * 0.23, 430_000 * 0.31
    balance = works.book.balance(EVENING - timedelta(hours=1), clock.at + timedelta(hours=1), "tea")
    assert balance.dry.unexplained_g == pytest.approx(dry_in - dry_out, abs=2)
    assert balance.mass.left_over_g == 0
    water = next(s for s in event.streams if s.name == "water")
    assert water.mass_g == pytest.approx(600_000 * 0.77 - 430_000 * 0.69, abs=2)
    assert find_run(works, run_id).finished_at == clock.at


def test_a_finished_run_cannot_be_finished_again(works, clock):
    lot = tea(works)
    run_id = start_run(works, "davin", "trough-1", [lot.lot_id])
    clock.at += timedelta(hours=14)
    off = Off(mass_kg=430.0, moisture_wb=0.69, moisture_meter="tea-oven", scale="tea-floor-scale")
    finish_run(works, "davin", run_id, [off])
    with pytest.raises(BadInput, match="finished already"):
        finish_run(works, "davin", run_id, [off])


@pytest.mark.parametrize(("meter", "value"), [("tea-quick", 1.3), ("tea-probe", 900.0)])
def test_a_reading_that_cannot_be_is_refused_in_the_unit_of_people(works, meter, value):
    lot = tea(works)
    run_id = start_run(works, "davin", "trough-1", [lot.lot_id])
    with pytest.raises(BadInput, match="it must be from"):
        record_reading(works, "davin", run_id=run_id, meter=meter, value=value)


def test_a_packer_does_not_run_a_trough(works):
    lot = tea(works)
    with pytest.raises(BadInput, match="may not run a stage"):
        start_run(works, "jorun", "trough-1", [lot.lot_id])


def test_a_corrected_reading_and_a_corrected_load_change_the_forecast(works, clock):
    """What is kept for a page that is shown again must not outlive what it was made from."""

    def off_at():
        return next(v for v in floor(works, "tea") if v.run).finish_at

    lot = tea(works)
    run_id = start_run(works, "davin", "trough-1", [lot.lot_id])
    clock.at += timedelta(hours=6)
    reading = record_reading(works, "davin", run_id=run_id, meter="tea-oven", value=0.73)
    first = off_at()
    correct_value(works, "ilsa", reading.event_id, "read the wrong line", 0.76)
    second = off_at()
    assert second != first
    correct_weights(
        works, "ilsa", lot.made_by, "tare forgotten", {lot.lot_id: (500.0, lot.moisture_wb)}
    )
    assert off_at() != second
