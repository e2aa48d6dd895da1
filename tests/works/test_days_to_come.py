"""A day, a week or a stretch that has not come yet is refused or told. The works is invented."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

import wareleaf.works.demo
from wareleaf.cli.main import cli
from wareleaf.measure import BadInput
from wareleaf.works.close_day import day_balance, stretch_balance
from wareleaf.works.house import create_works
from wareleaf.works.reconcile_day import reconcile_day, reconcile_stretch, week_of

SETTINGS = Path(wareleaf.works.demo.__file__).parent / "works.toml"
TODAY = date(2026, 4, 2)  # a Thursday
NEXT_YEAR = date(2027, 1, 1)


@pytest.fixture(scope="module")
def works(tmp_path_factory):
    made = create_works(tmp_path_factory.mktemp("come") / "works", SETTINGS)
    yield replace(made, clock=lambda: datetime(2026, 4, 2, 12, 0, tzinfo=UTC))
    made.book.close()


@pytest.mark.parametrize(
    "ask",
    [
        lambda w: reconcile_day(w, "kelp", NEXT_YEAR),
        lambda w: reconcile_day(w, "kelp", TODAY + timedelta(days=1)),
        lambda w: reconcile_stretch(w, "kelp", *week_of(NEXT_YEAR)),
        lambda w: reconcile_stretch(w, "kelp", NEXT_YEAR, NEXT_YEAR + timedelta(days=40)),
        lambda w: day_balance(w, "kelp", NEXT_YEAR),
        lambda w: stretch_balance(w, "kelp", NEXT_YEAR, NEXT_YEAR),
    ],
)
def test_what_has_not_come_is_refused(works, ask):
    with pytest.raises(BadInput, match=r"has not come yet\. Give 2026-04-02, which is today"):
        ask(works)


@pytest.mark.parametrize(
    "words",
    [
        ("reconcile", "--day", "2099-01-01"),
        ("reconcile", "--week", "2099-01-01"),
        ("reconcile", "--from", "2099-01-01"),
        ("balance", "--day", "2099-01-01"),
        ("balance", "--from", "2099-01-01"),
    ],
)
def test_the_commands_refuse_it(works, words):
    name, *options = words
    said = CliRunner().invoke(cli, [name, "kelp", *options, "--works", str(works.folder)])
    assert said.exit_code == 2
    assert "has not come yet" in said.stderr


def test_what_is_not_over_is_told(works):
    week = reconcile_stretch(works, "kelp", *week_of(TODAY))
    assert week.sentences == (
        "Nothing moved.",
        "The time to 2026-04-05 is not over: this is what was booked until now.",
    )
    assert reconcile_day(works, "kelp").sentences == ("Nothing moved.",)
    assert reconcile_day(works, "kelp", TODAY - timedelta(days=1)).sentences == ("Nothing moved.",)
    assert day_balance(works, "kelp", TODAY).dry.unexplained_g == 0


def test_today_is_the_day_of_the_works_own_clock(works):
    """An hour before midnight by UTC the next day has begun at a works to the east of it."""
    late = datetime(2026, 4, 2, 23, 30, tzinfo=UTC)
    firm = works.settings.firm.model_copy(update={"time_zone": "Pacific/Auckland"})
    east = works.settings.model_copy(update={"firm": firm})
    east.__dict__.pop("zone", None)  # the copy keeps the old clock otherwise
    there = replace(works, settings=east, clock=lambda: late)
    assert reconcile_day(there, "kelp", date(2026, 4, 3)).sentences == ("Nothing moved.",)
