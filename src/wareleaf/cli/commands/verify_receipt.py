"""Check a receipt or a proof with the public key alone: no works, no network."""

from __future__ import annotations

import json
from pathlib import Path

import click

from wareleaf.cli.common import answer, answering, json_option, kg, percent


@click.command("verify-receipt")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--key", "keys", multiple=True, required=True, help="Public key; may be repeated.")
@click.option(
    "--stamp-ca",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Root certificate of a time-stamp authority, PEM: check the receipt's time stamp too.",
)
@json_option
def command(file: Path, keys: tuple[str, ...], stamp_ca: Path | None, as_json: bool) -> None:
    """Check FILE; exits with 2 and says what does not hold."""
    from wareleaf.book.seal import Proved
    from wareleaf.works.seal_book import check_file

    with answering(as_json):
        found = check_file(file, list(keys))
        if isinstance(found, Proved):
            stamped = _stamped(file, stamp_ca)
            lines = [f"Signed by {at:%Y-%m-%d %H:%M:%S %Z}, says {by}." for at, by in stamped]
            data = _plain(found) | {"stamps": [{"at": at, "by": by} for at, by in stamped]}
            answer(as_json, data, [*_lines(found), *lines])
            return
        older, newer = found
        answer(
            as_json,
            {"origin": newer.origin, "older": older.size, "newer": newer.size},
            [
                f"Holds: the book of {newer.origin} with {newer.size} events begins with the "
                f"signed one of {older.size}; nothing in those was changed."
            ],
        )


def _stamped(file: Path, roots: Path | None) -> list:
    from wareleaf.works.stamp import stamp_in

    if roots is None:
        return []
    return [stamp_in(json.loads(file.read_text("utf-8")), roots.read_bytes())]


def _plain(found) -> dict:
    return {
        "lot": found.lot_id,
        "origin": found.checkpoint.origin,
        "size": found.checkpoint.size,
        "events": [json.loads(json.dumps(_event(e))) | {"sequence": n} for n, e in found.events],
        "sources": []
        if found.trace is None
        else [{"lot": n.lot_id, "share": n.share, "dry_g": n.dry_g} for n in found.trace.ends],
        "gaps": list(found.gaps),
    }


def _event(event) -> dict:
    from wareleaf.book import event_to_json

    return event_to_json(event)


def _lines(found) -> list[str]:
    lines = [
        f"Holds: these {len(found.events)} events stood in the book of {found.checkpoint.origin} "
        f"when it was signed with {found.checkpoint.size} events."
    ]
    for n, e in found.events:
        made = ", ".join(f"{m.lot_id} {kg(m.mass_g)} kg" for m in e.outputs)
        drawn = ", ".join(f"{d.lot_id} {kg(d.mass_g)} kg" for d in e.inputs)
        moved = " ".join(x for x in (drawn and f"from {drawn}", made and f"into {made}") if x)
        lines.append(f"  {n:>7}  {e.happened_at:%Y-%m-%d %H:%M%z}  {e.kind}  {e.site}  {moved}")
    if found.trace is not None:
        lines.append(f"Lot {found.lot_id} came from:")
        lines += [f"  {n.lot_id}: {percent(n.share)}" for n in found.trace.ends]
    if found.gaps:
        lines.append(f"Not in the receipt: how {', '.join(found.gaps)} were made.")
    lines.append("It does not say that no later event speaks of the lot; ask for a newer receipt.")
    return lines
