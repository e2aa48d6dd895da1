"""Make the demo works, with a month of history, and open it."""

from __future__ import annotations

import time
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from wareleaf.works.house import Works

PORT = 8642
PLAN_S = 3.0
HOST = "127.0.0.1"
# Three things to look at first.
LOOK_AT = (
    "Day: what is on the troughs and dryers, and what needs someone within the hour.",
    "Trace: any shipped lot, back to its lines and fields.",
    "Then ask `wareleaf watch`: six things went wrong in this month, and nobody wrote them down.",
)


@click.command("demo")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("var/demo"),
    show_default=True,
    help="Where the demo lives.",
)
@click.option("--fresh", is_flag=True, help="Write it anew, over what was recorded in it.")
@click.option("--no-serve", is_flag=True, help="Only write it; do not open the app.")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=PORT,
    show_default=True,
    help="Port; the next free one is taken when it is in use.",
)
def command(folder: Path, fresh: bool, no_serve: bool, port: int) -> None:
    """Open the demo: an invented firm with a kelp works and a tea works, on a morning in May.

    The first time it writes a month of history, which takes about a minute.
    """
    works = _made(folder, fresh)
    if no_serve:
        click.echo(f"The demo is in {folder}. Open it with: wareleaf demo --folder {folder}")
        works.book.close()
        return
    _serve(works, port)


def _made(folder: Path, fresh: bool) -> Works:
    from wareleaf.works.demo import generate, opening
    from wareleaf.works.house import SETTINGS_FILE
    from wareleaf.works.plan_day import plan_site

    there = (folder / SETTINGS_FILE).exists()
    if there and not fresh:
        return opening.open_demo(folder)
    click.echo(f"Writing a month of history into {folder}", err=True)
    start = time.monotonic()
    make = generate.renew if there else generate.generate
    works = make(folder, progress=_progress)
    for site in works.settings.site:
        click.echo(f"  planning the day of {site.name}", err=True)
        plan_site(works, "ilsa", site.id, time_limit_s=PLAN_S)
    click.echo(f"Written in {time.monotonic() - start:.0f} s.", err=True)
    return works


def _progress(day: date, done: int, of: int) -> None:
    click.echo(f"  day {done:2} of {of}: {day:%a %d %b %Y}", err=True)


def _serve(works: Works, port: int) -> None:
    import uvicorn

    from wareleaf.cli.commands.serve import free_port
    from wareleaf.web.app import create_app
    from wareleaf.works.demo.opening import PIN

    chosen = free_port(HOST, port)
    if chosen != port:
        click.echo(f"Port {port} is in use; taking {chosen}.", err=True)
    click.echo(f"{works.settings.firm.name} is open at http://{HOST}:{chosen}/  (Ctrl-C stops it)")
    click.echo(f"Everyone's PIN is {PIN}; sign in as Ilsa Morrach to see all of it.")
    click.echo("Look at:")
    for line in LOOK_AT:
        click.echo(f"  {line}")
    uvicorn.run(create_app(works), host=HOST, port=chosen, log_level="warning")
