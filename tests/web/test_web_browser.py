"""Pages in a real browser on a landscape tablet: a load from the door to its trace, by pressing."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from test_web_unavailable import damage
from tests.store.small_disk import LimitedFiles
from web_works import PIN, Seeded

from wareleaf.web import background

pytestmark = pytest.mark.browser

TABLET = {"width": 1280, "height": 800}
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")


@dataclass
class Served:
    address: str
    seeded: Seeded


@pytest.fixture
def served(seeded: Seeded) -> Iterator[Served]:
    """The works on a port of its own, in this process, so that its clock can be moved."""
    with background.served(seeded.works) as address:
        yield Served(address, seeded)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    assert found, f"A browser test needs one of {', '.join(BROWSERS)} on PATH."
    with sync_playwright() as play:
        made = play.chromium.launch(
            executable_path=found, args=["--no-sandbox", "--disable-gpu", "--disable-sync"]
        )
        yield made
        made.close()


@pytest.fixture
def tablet(browser: Browser) -> Iterator[BrowserContext]:
    made = browser.new_context(viewport=TABLET, has_touch=True)
    yield made
    made.close()


def enter(page: Page, served: Served, who: str) -> None:
    page.goto(served.address + "/")
    page.check(f"input[value={who}]")
    page.fill("input[name=pin]", PIN)
    page.click("text=Sign in >> nth=-1")
    page.wait_for_url(served.address + "/")


def test_a_load_goes_from_the_door_to_its_trace(tablet: BrowserContext, served: Served) -> None:
    page = tablet.new_page()
    hosts: set[str] = set()
    errors: list[str] = []
    page.on("request", lambda request: hosts.add(urlsplit(request.url).hostname or ""))
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda line: errors.append(line.text) if line.type == "error" else None)
    enter(page, served, "davin")

    page.click("nav >> text=Intake")
    page.click("text=Ummer Low")
    page.fill("input[name=gross_kg]", "640")
    page.fill("input[name=tare_kg]", "40")
    page.fill("input[name=moisture_wb]", "77,5")
    page.click("text=Take it in")
    lot = page.inner_text(".lotname")
    assert lot.startswith("T6-")

    page.click("text=Put it on Trough 2")
    assert page.is_checked(f"input[value='{lot}']")
    page.click("text=Look ahead >> nth=0")
    assert "comes off" in page.inner_text("main")
    assert page.locator(".chart svg").count() == 1
    page.click("text=Start now")
    assert "Trough 2 is running." in page.inner_text(".said")

    served.seeded.clock.later(3.0)
    page.fill("input[name=value]", "73.5")
    page.click("text=Keep the reading")
    assert "73.5 %" in page.inner_text("main")

    served.seeded.clock.later(6.0)
    page.reload()
    if not page.is_visible("input[name=mass_kg_1]"):
        page.click("summary >> text=Take it off")
    page.fill("input[name=mass_kg_1]", "428")
    page.fill("input[name=moisture_wb_1]", "68.2")
    page.click("text=Weighed, take it off")
    made = page.inner_text("a.lot.big")
    assert made.startswith("T6-") and made != lot

    page.click("nav >> text=Trace")
    page.fill("main input[name=q]", made)
    page.click("button >> text=Trace")
    assert page.inner_text("h1").endswith(made)
    picture = page.text_content(".trace svg") or ""
    assert lot in picture and "Ummer Low" in picture
    page.click(f".trace svg a:has-text('{lot}')")
    page.wait_for_url(f"**/trace/{lot}")
    # 600 kg at 77.5 % is 135 kg of dry matter, whatever the wither took.
    assert "135 kg" in (page.text_content(f".trace svg a:has-text('{lot}')") or "")

    assert hosts == {"127.0.0.1"}, "no request leaves this machine"
    assert errors == []


def pages(seeded: Seeded) -> list[str]:
    lots, runs = seeded.lots, seeded.runs
    return [
        "/",
        "/intake",
        f"/intake?made={lots['tea b']}",
        f"/floor?lot={lots['washed b']}",
        f"/floor/load/trough-2?lot_ids={lots['tea b']}&do=aim",
        f"/floor/run/{runs['trough']}",
        f"/floor/run/{runs['belt']}",
        "/lots?all=1",
        "/find?q=skarrin",
        "/find?q=]C10109506000134352",
        f"/lots/{lots['flake2']}",
        f"/lots/{lots['kelp']}",
        "/trace",
        f"/trace/{lots['kelp']}",
    ]


# What a wet finger presses; smaller things in a table row have a whole row of their own.
TARGETS = "button, a.button, .pick, summary, select, main input:not([type=hidden]), nav a"
SMALL = """
targets => targets.filter(e => e.checkVisibility() && !['radio', 'checkbox'].includes(e.type))
  .map(e => [e.tagName + ' ' + (e.name || e.innerText || '').slice(0, 30),
             Math.round(e.getBoundingClientRect().height)])
  .filter(([, height]) => height < 48)
"""


def test_pages_can_be_read_and_pressed_by_anyone(tablet: BrowserContext, served: Served) -> None:
    page = tablet.new_page()
    page.goto(served.address + "/sign-in")
    axe = Axe()
    _no_barriers(axe, page, "/sign-in")
    enter(page, served, "ilsa")
    for address in pages(served.seeded):
        page.goto(served.address + address)
        _no_barriers(axe, page, address)
        assert page.locator(TARGETS).count() > 12
        assert page.eval_on_selector_all(TARGETS, SMALL) == [], address
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= TABLET["width"], f"{address} scrolls sideways"


def test_pages_of_trouble_can_be_read_by_anyone(tablet: BrowserContext, served: Served) -> None:
    """A clock that is wrong, a full disk, and a book that is damaged while someone types."""
    page, axe = tablet.new_page(), Axe()
    enter(page, served, "ilsa")
    served.seeded.clock.later(-3.0)
    page.goto(served.address + "/intake")
    assert page.get_by_role("alert").is_visible()
    _no_barriers(axe, page, "/intake with a wrong clock")
    served.seeded.clock.later(3.0)
    page.goto(served.address + "/intake")
    page.check("input[name=source]", force=True)
    page.fill("input[name=gross_kg]", "612.5")
    with LimitedFiles(served.seeded.works.folder).full():
        page.get_by_role("button", name="Take it in").click()
        page.wait_for_load_state()
    assert page.input_value("input[name=gross_kg]") == "612.5"
    assert "nothing of this was recorded" in page.get_by_role("alert").inner_text()
    _no_barriers(axe, page, "/intake on a full disk")
    damage(served.seeded)
    page.get_by_role("button", name="Take it in").click()
    page.wait_for_load_state()
    assert page.get_by_role("cell", name="612.5").is_visible()
    _no_barriers(axe, page, "/intake of a damaged book")


def _no_barriers(axe: Axe, page: Page, address: str) -> None:
    answer = axe.run(page).response
    assert len(answer["passes"]) > 10, "the checker looked at the page"
    found = answer["violations"]
    bad = [
        (v["id"], v["nodes"][0]["target"], v["nodes"][0]["failureSummary"])
        for v in found
        if v["impact"] in ("serious", "critical")
    ]
    assert bad == [], f"{address}: {bad}"


def test_everything_works_without_scripts(browser: Browser, served: Served) -> None:
    context = browser.new_context(viewport=TABLET, java_script_enabled=False)
    page = context.new_page()
    enter(page, served, "teo")
    page.goto(served.address + "/intake")
    page.check("input[value='line-02']")
    page.fill("input[name=gross_kg]", "lots")
    page.click("text=Take it in")
    assert "it must be a number" in page.inner_text(".problems")
    assert page.is_checked("input[value='line-02']")
    page.fill("input[name=gross_kg]", "300")
    page.click("text=Take it in")
    assert page.inner_text(".lotname").startswith("K6-")
    context.close()


def test_the_day_keeps_itself_fresh(tablet: BrowserContext, served: Served) -> None:
    """The part marked ``data-fresh`` is fetched again on its own clock."""
    page = tablet.new_page()
    page.clock.install()
    enter(page, served, "davin")
    before = page.inner_text("#day")
    served.seeded.clock.later(5.0)
    with page.expect_response(served.address + "/"):
        page.clock.fast_forward(61_000)
    page.wait_for_function("old => document.getElementById('day').innerText !== old", arg=before)
    assert "ago" in page.inner_text(".needs li:first-child")
