"""A trace and a recall on the page name the load that touched on a belt, with kilograms."""

from __future__ import annotations

from starlette.testclient import TestClient
from test_web_kinds import HTML
from web_works import Seeded

from wareleaf.works.run_stage import start_run
from wareleaf.works.take_in import Load, take_in

SETTINGS = {"residence_h": 2.0, "feed_kg_h": 200.0}


def test_a_touch_is_said_where_one_of_two_loads_is_asked_for(
    seeded: Seeded, client: TestClient
) -> None:
    works = seeded.works
    loads = [
        take_in(works, "teo", Load(line, 400.0, 0.0, "quay-scale"))[1].lot_id
        for line in ("line-01", "line-02")
    ]
    for lot in loads:
        start_run(works, "runa", "belt-1", [lot], SETTINGS)
        seeded.clock.later(2.0)
    said = f"Up to 16.0 kg as fed at the touch in {loads[1]} may be of the load before"
    page = client.get(f"/trace/{loads[0]}", headers=HTML).text
    assert "Loads that touched on a belt" in page
    assert said in page
    assert said in client.get(f"/recall?kind=lot&subject={loads[0]}", headers=HTML).text
    other = client.get(f"/trace/{loads[1]}", headers=HTML).text
    assert f"in {loads[0]} may be of the load after, {loads[1]}" in other
    assert "Loads that touched" not in client.get(f"/trace/{seeded.lots['flake']}").text
