"""How far the leaf off a dryer spreads: thousands of runs, here or on a cluster."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wareleaf.cli.common import answer, answering, json_option, opened, percent, works_option
from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from wareleaf.stages import dry
    from wareleaf.works.spread_runs import Spread

_BAR = 40


@click.command("spread")
@click.argument("machine", required=False)
@click.argument("lots", nargs=-1)
@click.option("--set", "pairs", multiple=True, metavar="NAME=VALUE", help="A setting; repeat it.")
@click.option(
    "--input", "source", type=click.Path(path_type=Path),
    help="In place of MACHINE: JSON of the door dryer-spread, from a file (- for standard input).",
)  # fmt: skip
@click.option("--runs", type=int, help="How many, 8 to 20000.")
@click.option("--limit", help="Moisture not to be passed, such as '10 %'.")
@click.option("--workers", default=2, show_default=True, help="Processes on this machine.")
@click.option(
    "--cluster", metavar="ADDRESS",
    help="Run on the workers of this Dask scheduler, such as tcp://works.example:8786.",
)  # fmt: skip
@works_option
@json_option
def command(
    machine: str | None,
    lots: tuple[str, ...],
    pairs: tuple[str, ...],
    source: Path | None,
    runs: int | None,
    limit: str | None,
    workers: int,
    cluster: str | None,
    works_folder: Path | None,
    as_json: bool,
) -> None:
    """Run LOTS on the dryer MACHINE thousands of times, each input as uncertain as it is.

    Says how far the outlet moisture spreads and which share is too wet, too dry or too hot. Nothing
    is recorded. With --cluster the same runs go to other machines; the answer is the same.
    """
    from wareleaf.cli.typed import fraction
    from wareleaf.works.spread_runs import spread_runs

    with answering(as_json):
        if source is not None:
            dryer, run, count, limit_wb = _from_file(source)
        else:
            count, limit_wb = 1000, None
            dryer, run = _from_works(machine, lots, pairs, works_folder, as_json)
        with _bar() as progress:
            found = spread_runs(
                dryer,
                run,
                count if runs is None else runs,
                limit_wb=limit_wb if limit is None else fraction(limit, "limit"),
                cluster=cluster,
                workers=workers,
                progress=progress,
            )
        answer(as_json, found, _lines(found))


def _from_file(source: Path) -> tuple[dry.Dryer, dry.DryRun, int, float | None]:
    from wareleaf.cli.commands.calc import read_object
    from wareleaf.works.doors import dryer_spread, parsed

    data = parsed("dryer-spread", read_object(None if str(source) == "-" else source))
    return (*dryer_spread.asked(data), data.runs, data.limit_moisture_wb)


def _from_works(
    machine_id: str | None,
    lots: tuple[str, ...],
    pairs: tuple[str, ...],
    folder: Path | None,
    as_json: bool,
) -> tuple[dry.Dryer, dry.DryRun]:
    from wareleaf.cli.typed import settings_of
    from wareleaf.works.predict import dryer_run

    if machine_id is None or not lots:
        raise BadInput(
            "machine", machine_id, "Name a dryer and the lots to put on it, or give --input FILE."
        )
    with opened(folder, quiet=as_json) as works:
        machine = works.settings.equipment_of(machine_id)
        states = [works.book.lot(lot_id) for lot_id in lots]
        return dryer_run(works, machine, states, settings_of(machine, pairs), works.now())


@contextmanager
def _bar() -> Iterator[Callable[[int, int], None]]:
    """A progress bar on standard error, where that is a screen."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    columns: tuple[Any, ...] = (BarColumn(_BAR), MofNCompleteColumn(), TimeRemainingColumn())
    screen = Console(stderr=True)
    hidden = not screen.is_terminal
    with Progress("runs", *columns, console=screen, transient=True, disable=hidden) as shown:
        task = shown.add_task("runs", total=None)
        yield lambda done, of: shown.update(task, completed=done, total=of)


def _lines(found: Spread) -> list[str]:
    low, high = percent(found.moisture_wb_low), percent(found.moisture_wb_high)
    lines = [
        f"{found.runs} runs: {percent(found.moisture_wb_mean)} (± {percent(found.moisture_wb_sd)}),"
        f" 95 of 100 from {low} to {high}.",
        f"{percent(found.over_limit_share)} are wetter than {percent(found.limit_wb)}, "
        f"{percent(found.over_dried_share)} drier than the leaf needs, "
        f"{percent(found.too_hot_share)} with leaf too hot "
        f"(up to {found.leaf_temperature_max_c:.0f} °C).",
        f"Heat {found.heat_kwh_mean:.0f} kWh (± {found.heat_kwh_sd:.0f} kWh).",
    ]
    most = max(found.counts)
    edges = zip(found.edges_wb, found.edges_wb[1:], strict=False)
    for (start, end), count in zip(edges, found.counts, strict=True):
        bar = "█" * round(_BAR * count / most)
        lines.append(f"{percent(start):>8} to {percent(end):>7}  {bar}")
    return lines
