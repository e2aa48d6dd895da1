"""Check the seal of the book, or a receipt of it: every event as recorded, every lot as it says."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from wareleaf.cli.commands import verify_receipt
from wareleaf.cli.common import Job, answering, json_option, opened, works_option
from wareleaf.measure.errors import BadInput


@click.command("verify")
@click.argument("receipt", required=False, type=click.Path(path_type=Path))
@click.option("--key", "keys", multiple=True, help="Public key, with a RECEIPT; may be repeated.")
@works_option
@json_option
@click.pass_context
def command(
    context: click.Context,
    receipt: Path | None,
    keys: tuple[str, ...],
    works_folder: Path | None,
    as_json: bool,
) -> None:
    """Check the whole book; exits with 1 when it does not hold.

    With a RECEIPT, check that alone with the public key: no works, no network.
    """
    if receipt is not None:
        with answering(as_json):
            if not keys:
                raise BadInput(
                    "key", None, "key is missing; give --key, the public key the works told you."
                )
        context.invoke(
            verify_receipt.command, file=receipt, keys=keys, stamp_ca=None, as_json=as_json
        )
        return
    with answering(as_json), opened(works_folder, quiet=as_json) as works:
        _whole_book(Job(works, "", as_json))


def _whole_book(job: Job) -> None:
    report = job.works.book.verify()
    size, root = job.works.book.tree_root()
    lines = [
        report.message,
        f"{report.events} events, {report.lots} lots; head {report.head_hash}",
        f"tree of {size} events: {root}",
        "Keep head and tree elsewhere to notice a book that was cut short.",
    ]
    job.say({"report": report, "tree_size": size, "tree_root": root}, lines)
    if not report.ok:
        sys.exit(1)
