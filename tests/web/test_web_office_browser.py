"""The office pages in a real browser on a landscape tablet, and on the office PC."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page
from test_web_browser import (  # noqa: F401  fixtures
    SMALL,
    TABLET,
    TARGETS,
    Served,
    _no_barriers,
    browser,
    enter,
    served,
    tablet,
)
from web_works import packed_and_free

from wareleaf.works import bench
from wareleaf.works.growing import record_harvest
from wareleaf.works.pallets import put_on

pytestmark = pytest.mark.browser

PC = {"width": 1920, "height": 1080}


def pallet(served: Served) -> str:  # noqa: F811
    """The page of a pallet, built the first time it is asked for."""
    works = served.seeded.works
    if not works.book.events_in_force(kind="aggregate"):
        put_on(works, "jorun", {packed_and_free(served.seeded, "EU"): 4}, sscc="340123450000000017")
        record_harvest(works, "teo", "line-01", 300.0)
    return "/pallets/340123450000000017"


def office(served: Served) -> list[str]:  # noqa: F811
    lots = served.seeded.lots
    sample = bench.waiting(served.seeded.works)[0].sample_id
    return [
        "/bench",
        f"/bench/{sample}",
        f"/bench/{sample}?parameter=other",
        f"/release/{lots['flake']}",
        f"/release/{lots['flake2']}",
        "/blend?product=kelp-flake-500&mass_kg=10&high+moisture_wb=11",
        "/blend?product=kelp-flake-500&mass_kg=10&high+moisture_wb=2",
        f"/pack?lot={lots['flake']}",
        f"/lots/{lots['flake']}/contents",
        "/bench/next",
        f"/bench?sample_of={lots['flake']}",
        "/ship",
        "/returns?customer=quillby",
        pallet(served),
        f"/lots/{lots['flake']}",
        "/intake/growing",
        "/intake/growing?part=work",
        "/intake/growing?part=cool",
        f"/lots/{served.seeded.lots['flake']}/correct/"
        + served.seeded.works.book.lot(served.seeded.lots["flake"]).made_by,
        "/plan",
        "/watch",
        "/balance",
        "/rooms",
        "/rooms/flake-silo",
        "/adviser?machine=belt-2&leaf=sugar_kelp_blanched&dry_matter_kg_year=20000",
        "/recall",
        "/recall?kind=machine",
        "/recall?kind=source&subject=line-01",
        "/recall?kind=source&subject=line-01&drill=yes&sort=dry",
        "/recall?kind=lot&subject=K6-9999-99",
        "/learned",
        "/settings",
        "/settings?part=meters",
        "/settings?part=products",
        "/settings?part=leaf",
        "/settings?part=limits&market=EU",
    ]


def check_all(page: Page, served: Served, width: int) -> None:  # noqa: F811
    axe = Axe()
    for address in office(served):
        page.goto(served.address + address)
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        _no_barriers(axe, page, address)
        assert page.locator(TARGETS).count() > 12
        assert page.eval_on_selector_all(TARGETS, SMALL) == [], address
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{address} scrolls sideways"


@pytest.mark.slow
def test_office_pages_can_be_read_and_pressed_on_the_tablet(
    tablet: BrowserContext,  # noqa: F811
    served: Served,  # noqa: F811
) -> None:
    page = tablet.new_page()
    enter(page, served, "ilsa")
    page.goto(served.address + "/plan")
    page.click("text=Plan now")
    page.wait_for_selector(".strip svg")
    check_all(page, served, TABLET["width"])


@pytest.mark.slow
def test_office_pages_fit_the_pc(browser: Browser, served: Served) -> None:  # noqa: F811
    context = browser.new_context(viewport=PC)
    page = context.new_page()
    enter(page, served, "bex")
    check_all(page, served, PC["width"])
    context.close()


def test_a_sample_becomes_a_release_without_scripts(
    browser: Browser,  # noqa: F811
    served: Served,  # noqa: F811
) -> None:
    lot = served.seeded.lots["flake"]

    def signed_in(who: str) -> tuple[Page, Callable[[], None]]:
        context = browser.new_context(viewport=TABLET, java_script_enabled=False)
        page = context.new_page()
        enter(page, served, who)
        return page, context.close

    page, done = signed_in("mirel")
    page.click("nav >> text=Bench")
    page.click("text=Record result >> nth=0")
    for parameter, value in (("iodine", "410"), ("inorganic arsenic", "0,2")):
        page.click(f".pick:has-text('{parameter}')")
        page.fill("input[name=value]", value)
        page.fill("input[name=uncertainty]", "10")
        page.fill("input[name=moisture_wb]", "9.9")
        page.click("text=Keep the result")
        assert f"Kept: {parameter}" in page.inner_text(".said")
    page.click("text=May the lot go?")
    assert "May go to Australia" in page.inner_text("main")
    assert page.is_disabled("button:has-text('Release')")
    assert "Bex Orlay" in page.inner_text("main")
    done()

    page, done = signed_in("bex")
    page.goto(f"{served.address}/release/{lot}")
    page.click("button:has-text('Release')")
    assert f"{lot} is released for AU" in page.inner_text(".said")
    done()

    page, done = signed_in("jorun")
    page.goto(f"{served.address}/ship?customer=southrim")
    if not page.is_visible(f"input[value='{lot}']"):
        page.click("summary >> text=loose lot")
    page.check(f"input[value='{lot}']")
    page.click("text=Ship to Southrim Pantry")
    assert "Shipped:" in page.inner_text(".said")
    done()
