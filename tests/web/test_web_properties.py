"""What is in a lot and what to test next, over HTTP and in a browser that fills them in later."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext
from test_web_browser import Served, browser, enter, served, tablet  # noqa: F401
from test_web_office import HTML, JSON, text
from web_works import Seeded

from wareleaf.works import bench


def with_result(seeded: Seeded, value: float) -> str:
    """The flake has a result; the powder beside it has none. Returns the powder."""
    works = seeded.works
    sample = bench.waiting(works)[0]
    found = bench.Found("iodine", value, 0.05 * value, "mg/kg", "dry")
    bench.record_result(works, "mirel", sample.lot_id, sample.sample_id, found)
    return seeded.lots["flake2"]


def test_a_lot_says_what_is_in_it_and_on_what_that_rests(seeded, as_who):
    powder, client = with_result(seeded, 990.0), as_who("mirel")
    page = client.get(f"/lots/{powder}/contents", headers=HTML)
    said = text(page.text)
    assert "from relatives" in said
    assert f"{seeded.lots['flake']}, shares leaf with it" in said.replace(" ,", ",")
    assert "Nothing on this page releases a lot." in said
    assert "a chance of" in said
    assert "Skarrin line 1 100 %" in said
    answer = client.get(f"/lots/{powder}/contents", headers=JSON).json()
    iodine = next(p for p in answer["properties"]["properties"] if p["parameter"] == "iodine")
    assert iodine["grounds"][0]["lot_id"] == seeded.lots["flake"]
    assert client.get("/lots/NOPE/contents", headers=JSON).status_code in (404, 422)


def test_the_release_page_warns_of_what_relatives_say_and_lets_nothing_go(seeded, as_who):
    powder, client = with_result(seeded, 1300.0), as_who("bex")
    said = text(client.get(f"/release/{powder}", headers=HTML).text)
    assert "This changes no answer below" in said
    assert "May not go to Australia" in said


def test_the_bench_lists_the_test_worth_most_and_opens_its_sample(seeded, as_who):
    with_result(seeded, 1000.0)
    client = as_who("mirel")
    listed = client.get("/bench/next", headers=JSON).json()
    assert listed
    assert text(client.get("/bench/next", headers=HTML).text).count("chance that") == len(listed)
    lot = listed[0]["lot_id"]
    page = client.get(f"/bench?sample_of={lot}", headers=HTML).text
    assert f'value="{lot}" selected' in page
    assert 'id="take" open' in page


@pytest.mark.browser
def test_a_lot_page_fills_its_contents_in_later(
    tablet: BrowserContext,  # noqa: F811
    served: Served,  # noqa: F811
) -> None:
    powder = with_result(served.seeded, 990.0)
    page = tablet.new_page()
    enter(page, served, "ilsa")
    page.goto(f"{served.address}/lots/{powder}")
    page.wait_for_selector("#contents table")
    assert "from relatives" in page.inner_text("#contents")
    page.goto(f"{served.address}/bench")
    page.wait_for_selector("#next-tests #worth")
