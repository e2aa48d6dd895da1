"""Hold a lot against every limit of a market."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("assess")
@click.argument("lot_id", metavar="LOT")
@click.argument("markets", nargs=-1)
@click.option("--full", is_flag=True, help="Every limit, those that hold too.")
@in_works()
def command(job: Job, lot_id: str, markets: tuple[str, ...], full: bool) -> None:
    """Say whether LOT may go to MARKETS, or to each market the works has a customer in."""
    from wareleaf.works.release_lot import assess, assess_all

    found = (
        [assess(job.works, lot_id, m) for m in markets]
        if markets
        else assess_all(job.works, lot_id)
    )
    lines = []
    for verdict in found:
        lines += [verdict.sentences[0], *(f"  {s}" for s in verdict.sentences[1:])]
        if full:
            lines += [f"  [{x.status.value}] {x.limit.id}: {x.sentence}" for x in verdict.lines]
        unread = [x.limit.id for x in verdict.lines if x.needs_confirmation]
        if unread:
            lines.append(next_step(f"confirm-limit {unread[0]} TEXT (the quality manager)"))
        elif verdict.may_release:
            lines.append(next_step(f"release {lot_id} {verdict.market.id}"))
    job.say([verdict.as_facts() for verdict in found], lines)
