"""A clock set back, or far ahead: nothing is lost, the order holds, and it is told."""

from __future__ import annotations

import json
from datetime import timedelta

from click.testing import CliRunner
from starlette.testclient import TestClient
from test_web_unavailable import LOAD
from web_works import Seeded

from wareleaf.cli.main import cli
from wareleaf.works import house
from wareleaf.works.clock import clock_trouble
from wareleaf.works.house import open_works

HTML = {"accept": "text/html"}


def last(seeded: Seeded):
    return seeded.works.book.events(newest_first=True, limit=1)[0]


def test_a_clock_that_was_set_back(client: TestClient, seeded: Seeded) -> None:
    assert clock_trouble(seeded.works) == ""
    assert "clock of this computer" not in client.get("/", headers=HTML).text
    before = last(seeded)
    seeded.clock.later(-3.0)
    page = client.get("/intake", headers=HTML).text
    assert "Look at the clock of this computer" in page
    assert "it was set back, or it was ahead then. Set it right." in page
    done = client.post("/intake", data=LOAD, headers=HTML, follow_redirects=False)
    assert done.status_code == 303, "an entry is not lost for a wrong clock"
    after = last(seeded)
    assert after.sequence > before.sequence
    assert after.event.recorded_at == before.event.recorded_at, "stamped with the last time"
    assert after.event.happened_at < before.event.happened_at, "as the clock said"
    report = seeded.works.book.verify()
    assert report.ok, report.message
    times = [r.event.recorded_at for r in seeded.works.book.events()]
    assert times == sorted(times)
    seeded.clock.later(3.1)
    assert clock_trouble(seeded.works) == "", "set right again"


def test_a_clock_far_ahead_is_told_before_anything_is_recorded(
    client: TestClient, seeded: Seeded
) -> None:
    seeded.clock.later(24.0 * 365 * 5)
    page = client.get("/intake", headers=HTML).text
    assert "1825 days after the last entry" in page
    assert "a recorded time cannot be taken back" in page
    client.post("/intake", data=LOAD, headers=HTML)
    seeded.clock.later(-24.0 * 365 * 5)
    assert "it was ahead then" in clock_trouble(seeded.works), "found again when set right"
    client.post("/intake", data=LOAD | {"source": "line-02"}, headers=HTML)
    assert seeded.works.book.verify().ok


def test_a_season_of_rest_is_no_alarm(seeded: Seeded) -> None:
    seeded.clock.later(24.0 * 300)
    assert clock_trouble(seeded.works) == ""


def test_the_shell_says_it_too(seeded: Seeded, monkeypatch) -> None:
    then = seeded.clock.now - timedelta(hours=3)
    monkeypatch.setattr(
        house, "open_works", lambda folder, **more: open_works(folder, lambda: then)
    )
    done = CliRunner().invoke(cli, ["lots", "--json", "--works", str(seeded.works.folder)])
    assert done.exit_code == 0, done.output
    assert "it was set back, or it was ahead then" in done.stderr
    assert json.loads(done.stdout)["lots"], "JSON stays JSON"
