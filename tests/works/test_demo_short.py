"""Nine days of the demo: a book that holds, a morning that is alive, nothing half-made."""

import re
from datetime import timedelta

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.close_day import day_balance
from wareleaf.works.day import day_view
from wareleaf.works.demo import generate, opening
from wareleaf.works.people import pin_fits
from wareleaf.works.watch import findings

pytestmark = pytest.mark.slow


def test_the_book_verifies(demo_works):
    report = demo_works.book.verify()
    assert report.ok, report.message


def test_every_day_balances_to_the_gram(demo_works):
    for site in ("kelp", "tea"):
        for back in range(9):
            day = opening.DEMO_DAY - timedelta(days=back)
            balance = day_balance(demo_works, site, day)
            assert balance.dry.left_over_g == 0
            assert balance.mass.left_over_g == 0


def test_the_morning_is_alive(demo_works):
    tea, kelp = day_view(demo_works, "tea"), day_view(demo_works, "kelp")
    stages = {m.machine.stage for m in tea.machines if m.run is not None}
    assert {"wither", "dry"} <= stages
    assert "dry" in {m.machine.stage for m in kelp.machines if m.run is not None}
    assert kelp.waiting_leaf
    assert kelp.waiting_samples
    assert kelp.acts
    assert any(act.urgency == "soon" for view in (kelp, tea) for act in view.acts)
    assert not [m.trouble for view in (kelp, tea) for m in view.machines if m.trouble]


def test_leaf_is_released_packed_and_shipped(demo_works):
    for kind in ("release", "pack", "ship", "split", "combine", "sample", "result"):
        assert demo_works.book.events(kind=kind), kind


def test_only_the_quality_manager_releases_and_says_it_is_for_the_demo(demo_works):
    for row in demo_works.book.events(kind=["release", "limit_confirmed"]):
        roles = demo_works.settings.person_of(row.event.who).roles
        assert "quality_manager" in roles
    confirmed = demo_works.book.events(kind="limit_confirmed")
    assert confirmed
    assert all("for the demo only" in row.event.facts["text"] for row in confirmed)


def test_nobody_wrote_down_what_is_wrong(demo_works):
    telling = re.compile(
        r"drift|fault|wrong|short|error|plant|iodine too|under.?dried|missing", re.I
    )
    for row in demo_works.book.events():
        event = row.event
        told = " ".join([event.why, event.document, *(m.label for m in event.outputs)])
        assert not telling.search(told), told


def test_readings_of_the_dryers_and_troughs_reach_the_pages(demo_works):
    tried = [
        row.event.facts
        for row in demo_works.book.events(kind="reading")
        if row.event.facts.get("reference_value") is not None
    ]
    assert {f["method"] for f in tried} >= {"kelp-quick", "tea-quick", "kelp-balance"}


def test_everyone_signs_in_with_the_same_pin(demo_works):
    assert all(pin_fits(demo_works, p.id, opening.PIN) for p in demo_works.settings.person)


def test_the_clock_stands_at_the_morning_and_goes_on(demo_works):
    first, second = demo_works.now(), demo_works.now()
    assert first.date() == opening.DEMO_DAY
    assert (first.hour, first.minute) >= (10, 40)
    assert first <= second
    assert first >= max(row.event.recorded_at for row in demo_works.book.events())


def test_nine_clean_days_raise_no_alarm(clean_works):
    assert clean_works.book.verify().ok
    assert [f.sentence for f in findings(clean_works)] == []


def test_the_same_seed_gives_the_same_book(tmp_path):
    roots = []
    for name, seed in (("a", 3), ("b", 3), ("c", 4)):
        works = generate.generate(tmp_path / name, seed=seed, days=1)
        roots.append(works.book.tree_root())
        works.book.close()
    assert roots[0] == roots[1]
    assert roots[0] != roots[2]


def test_an_interrupted_generation_leaves_nothing(tmp_path):
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        generate.generate(tmp_path / "demo", days=2, progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_with_something_in_it_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(BadInput, match="not empty"):
        generate.generate(tmp_path, days=1)
    assert (tmp_path / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize("days", [0, 201])
def test_a_stretch_that_cannot_be_is_refused(tmp_path, days):
    with pytest.raises(BadInput, match="days"):
        generate.generate(tmp_path / "demo", days=days)
    assert not (tmp_path / "demo").exists()
