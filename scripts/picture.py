"""Take the picture of the app for the README: the first page of the demo, on a tablet.

    .venv/bin/python scripts/picture.py [--folder var/demo] [--site kelp] [--page /] [--out FILE]

Writes the demo into the folder first when it is not there (about a minute). Needs Chromium on the
path and the development environment that `./check` sets up.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from wareleaf.web.background import served
from wareleaf.works.demo.generate import generate
from wareleaf.works.demo.opening import PIN, open_demo
from wareleaf.works.house import Works

ROOT = Path(__file__).resolve().parent.parent
TABLET = {"width": 1280, "height": 800}
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
MOST_KB = 300


def demo(folder: Path) -> Works:
    """The demo works, written first when it is not there."""
    if (folder / "works.toml").exists():
        return open_demo(folder)
    print(f"writing the demo into {folder}", file=sys.stderr)
    return generate(folder)


def shoot(browser: Browser, address: str, site: str, page_path: str, out: Path) -> None:
    """Sign in as the manager, turn to a site, take the picture."""
    context = browser.new_context(viewport=TABLET, locale="en-GB")  # type: ignore[arg-type]
    page = context.new_page()
    sign_in = context.request.post(f"{address}/sign-in", form={"who": "ilsa", "pin": PIN})
    if not sign_in.ok:
        raise SystemExit(f"sign-in answered {sign_in.status}")
    context.request.post(f"{address}/site", form={"site": site, "then": "/"})
    answer = page.goto(f"{address}{page_path}", wait_until="networkidle")
    if answer is None or not answer.ok:
        raise SystemExit(f"{page_path} answered {answer.status if answer else 'nothing'}")
    out.parent.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(out))
    context.close()


def main() -> None:
    """Read the options, take the picture, say how large it is."""
    parser = argparse.ArgumentParser(description="Take the picture of the app for the README.")
    parser.add_argument("--folder", type=Path, default=ROOT / "var" / "demo")
    parser.add_argument("--site", default="kelp")
    parser.add_argument("--page", default="/")
    parser.add_argument("--out", type=Path, default=ROOT / "docs" / "pictures" / "day.png")
    options = parser.parse_args()
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        raise SystemExit("no Chromium on the path; run: apt-get install chromium")
    works = demo(options.folder)
    with served(works) as address, sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=found, args=["--no-sandbox", "--disable-gpu", "--disable-sync"]
        )
        shoot(browser, address, options.site, options.page, options.out)
        browser.close()
    works.book.close()
    size_kb = options.out.stat().st_size / 1000.0
    print(f"{options.out}: {size_kb:.0f} kB")
    if size_kb > MOST_KB:
        raise SystemExit(f"the picture is over {MOST_KB} kB; take a plainer page")


if __name__ == "__main__":
    main()
