"""Sign a lot free for markets; the quality manager's own act."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("release")
@click.argument("lot_id", metavar="LOT")
@click.argument("markets", nargs=-1, required=True)
@click.option("--note", default="", help="What the signature should say.")
@click.option("--document", default="", help="Number of the paper it rests on.")
@click.option("--certificate", default="", help="Address of a certificate it is sold under.")
@in_works(who=True)
def command(
    job: Job, lot_id: str, markets: tuple[str, ...], note: str, document: str, certificate: str
) -> None:
    """Release LOT for MARKETS. Every one must allow it, else nothing is written.

    A model or a command releases nothing: the person behind --who does, on measurements.
    """
    from wareleaf.works.release_lot import release

    event = release(
        job.works, job.who, lot_id, markets, note, document=document, certificate=certificate
    )
    signed = ", ".join(event.facts["markets"])
    job.say(
        event,
        [f"Lot {lot_id} is released for {signed}.", next_step(f"ship CUSTOMER {lot_id}")],
    )
