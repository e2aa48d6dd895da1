"""Plan today and tomorrow: announce loads, plan, plan again after a breakdown, ask for room."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import click

from wareleaf.cli.common import Job, in_works, next_step, table
from wareleaf.cli.typed import MASS_HELP, fraction
from wareleaf.measure.units import parse_mass_kg

if TYPE_CHECKING:
    from wareleaf.works.plan_day.shown import DayPlan

AHEAD = timedelta(days=14)
seconds = click.option(
    "--seconds",
    type=click.FloatRange(0.0, 60.0),
    default=8.0,
    show_default=True,
    help="Most time for the solver; 0 gives the plain dispatch plan.",
)


@click.group("plan")
def command() -> None:
    """Plan the day of a site. A plan is a proposal: nothing starts because of it."""


@command.command("now")
@click.argument("site")
@seconds
@in_works(who=True)
def now(job: Job, site: str, seconds: float) -> None:
    """Plan today and tomorrow of SITE anew and keep the plan."""
    from wareleaf.works.plan_day import plan_site

    found = plan_site(job.works, job.who, site, seconds)
    job.say(found, [*_lines(job, found), next_step(f"plan show {site}")])


@command.command("show")
@click.argument("site")
@in_works()
def show(job: Job, site: str) -> None:
    """Show the plan in force of SITE, and what happened since that it does not know."""
    from wareleaf.works.plan_day import changed_since, stored_plan

    found = stored_plan(job.works, job.works.settings.site_of(site).id)
    if found is None:
        job.say(None, [f"{site} has no plan.", next_step(f"plan now {site}")])
        return
    news = changed_since(job.works, found)
    lines = [*_lines(job, found), *news]
    if news:
        lines.append(next_step(f"plan again {site}"))
    job.say({"plan": found, "changed_since": news}, lines)


@command.command("again")
@click.argument("site")
@click.option("--machine", default="", help="Machine that is out of order.")
@click.option("--from", "begin", help="From when; now when left out.")
@click.option("--until", "end", help="When it is expected back.")
@click.option("--redo", help="Part of an interrupted stage to be run again, %; all when left out.")
@click.option("--note", default="", help="What happened.")
@seconds
@in_works(who=True)
def again(
    job: Job,
    site: str,
    machine: str,
    begin: str | None,
    end: str | None,
    redo: str | None,
    note: str,
    seconds: float,
) -> None:
    """Plan SITE again, moving as little as possible; --machine says what broke down."""
    from wareleaf.works.plan_day import replan

    share = fraction(redo, "redo")
    found = replan(
        job.works,
        job.who,
        site,
        machine,
        job.at(begin, "from"),
        job.at(end, "until"),
        note=note,
        redo_share=1.0 if share is None else share,
        time_limit_s=seconds,
    )
    job.say(found, [*_lines(job, found), next_step(f"plan show {site}")])


@command.command("room")
@click.argument("site")
@click.argument("source")
@click.option("--at", required=True, help="When it would arrive, like 2026-04-12 14:00.")
@in_works()
def room(job: Job, site: str, source: str, at: str) -> None:
    """Say how much more leaf of SOURCE could arrive at a time, beside the plan in force."""
    from wareleaf.works.plan_day import room_for_more

    arrives_at = job.at(at)
    assert arrives_at is not None  # --at is required
    found = room_for_more(job.works, site, source, arrives_at)
    job.say(found, [found.sentence, next_step(f"plan announce {source} MASS --at '{at}'")])


@command.command("announce")
@click.argument("source")
@click.argument("mass")
@click.option("--at", required=True, help="When it will arrive, like 2026-04-12 14:00.")
@click.option("--note", default="", help="Anything worth remembering.")
@in_works(who=True)
def announce_one(job: Job, source: str, mass: str, at: str, note: str) -> None:
    """Write down that MASS of leaf of SOURCE was called in."""
    from wareleaf.works.expected import announce

    arrives_at = job.at(at)
    assert arrives_at is not None  # --at is required
    found = announce(job.works, job.who, source, parse_mass_kg(mass, "mass_kg"), arrives_at, note)
    site = job.works.settings.source_of(source).site
    lines = [
        f"{found.mass_kg:g} kg of {found.name} expected {job.show(found.arrives_at)}; "
        f"its number is {found.expected_id}.",
        next_step(f"plan now {site}"),
    ]
    job.say(found, lines)


@command.command("withdraw")
@click.argument("expected_id", metavar="NUMBER")
@click.option("--note", default="", help="Why.")
@in_works(who=True)
def withdraw_one(job: Job, expected_id: str, note: str) -> None:
    """Take back the announcement with NUMBER."""
    from wareleaf.works.expected import withdraw

    event = withdraw(job.works, job.who, expected_id, note)
    job.say(event, ["Taken back.", next_step(f"plan again {event.site}")])


@command.command("expected")
@click.argument("site")
@in_works()
def expected_all(job: Job, site: str) -> None:
    """List the loads announced for SITE that have not come."""
    from wareleaf.works.expected import expected

    here = job.works.settings.site_of(site).id
    today = job.works.now().replace(hour=0, minute=0, second=0, microsecond=0)
    found = expected(job.works, here, today, today + AHEAD)
    rows = ((x.expected_id, x.name, f"{x.mass_kg:g}", job.show(x.arrives_at)) for x in found)
    job.say(found, table(("number", "source", "kg", "arrives"), rows))


def _lines(job: Job, plan: DayPlan) -> list[str]:
    if not plan.runs and not plan.decisions:
        return [f"Nothing to plan at {plan.site_id}; announce loads first."]
    rows = (
        (
            job.show(run.start_at),
            job.show(run.end_at)[11:],
            run.machine,
            run.stage,
            f"{run.mass_kg:,.0f}",
            ", ".join(run.refs),
            "running" if run.running else "",
        )
        for run in sorted(plan.runs, key=lambda r: (r.start_at, r.machine_id))
    )
    lines = [plan.standing, *table(("from", "to", "machine", "stage", "kg", "leaf", ""), rows)]
    lines += [f"Light {x.machine} at {job.show(x.light_at)}." for x in plan.lightings]
    lines += [d.sentence for d in plan.decisions if d.outcome != "run"]
    lines += [
        f"Moved: {m.stage} of {m.load_id} from {m.machine_from}, {job.show(m.from_at)} to "
        f"{m.machine_to}, {job.show(m.to_at)}."
        for m in plan.moves
    ]
    lines += [plan.limits.sentence, *(r.sentence for r in plan.room), *plan.warnings]
    lines.append(f"Lost against a day without loss: {plan.cost:,.2f} {plan.currency}.")
    return [line for line in lines if line]


announce_one.epilog = f"Mass: {MASS_HELP}."
