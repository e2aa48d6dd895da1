"""Exchange the book with others as EPCIS 2.0 documents: out, in, and how lots are addressed."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import Job, in_works
from wareleaf.measure.errors import BadInput


@click.group("exchange")
def command() -> None:
    """Write and read EPCIS 2.0 documents."""


@command.command("out")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--lot", default="", help="Only what this lot was made of; else the whole book.")
@click.option("--private", is_flag=True, help="Take people, reasons and facts along.")
@in_works()
def out(job: Job, file: Path, lot: str, private: bool) -> None:
    """Write the book, or the past of one lot, to FILE."""
    from wareleaf.works.exchange_book import write_out

    done = write_out(job.works, file, lot, private=private)
    lines = [f"{done.events} events on {done.lots} lots written to {done.path}."]
    if not private:
        lines.append("People, reasons and facts stay at home (--private takes them along).")
    job.say(done, lines)


@command.command("in")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--into", type=click.Path(path_type=Path), help="Make a new book of it, to look into."
)
@in_works()
def read(job: Job, file: Path, into: Path | None) -> None:
    """Check and read FILE; the book of this works stays as it is."""
    from wareleaf.works.exchange_book import make_book, naming_of, read_in

    found = read_in(file, naming_of(job.works))
    lots = "1 lot" if len(found.arrivals) == 1 else f"{len(found.arrivals)} lots"
    lines = [f"{file}: {len(found.events)} events of a book, {lots} arriving."]
    lines += [
        f"  {a.lot}: {a.mass_kg:g} kg"
        + ("" if a.dry_kg is None else f" ({a.dry_kg:g} kg dry by its sender)")
        + f", {a.step} {job.show(a.happened_at)}, from {a.sender or 'unknown'} to "
        f"{a.receiver or 'unknown'}; papers {a.document or 'none'}"
        for a in found.arrivals
    ]
    lines += found.left_aside
    made = 0
    if into is not None:
        made = make_book(found, into)
        lines.append(f"{made} events recorded in the new book {into}.")
    job.say({"found": found, "recorded": made}, lines)


@command.command("names")
@click.option("--base", help="Address of your own, ending in a slash.")
@click.option("--gtin", multiple=True, metavar="PRODUCT=GTIN", help="GTIN of a product.")
@click.option("--gln", multiple=True, metavar="SITE[/PLACE]=GLN", help="GLN of a site or place.")
@click.option("--party", multiple=True, metavar="ID=GLN", help="GLN of a customer or source.")
@in_works()
def names(
    job: Job, base: str | None, gtin: tuple[str, ...], gln: tuple[str, ...], party: tuple[str, ...]
) -> None:
    """Show or say how lots, places and partners are addressed."""
    from wareleaf.book.exchange import Naming
    from wareleaf.works.exchange_book import naming_of, set_naming

    if base is not None:
        set_naming(
            job.works,
            Naming(base, _pairs("gtin", gtin), _pairs("gln", gln), _pairs("party", party)),
        )
    elif gtin or gln or party:
        raise BadInput("base", None, "Give --base too; all names are kept together.")
    kept = naming_of(job.works)
    lines = [f"base: {kept.base}"]
    for what, keys in (("GTIN", kept.gtin), ("GLN", kept.gln), ("GLN", kept.party_gln)):
        lines += [f"{what} of {owner}: {key}" for owner, key in keys.items()]
    job.say(kept, lines)


def _pairs(field: str, given: tuple[str, ...]) -> dict[str, str]:
    found = {}
    for pair in given:
        owner, equals, key = pair.partition("=")
        if not equals:
            raise BadInput(field, pair, f"{pair!r} is not NAME=KEY.")
        found[owner.strip()] = key.strip()
    return found
