"""Set the PIN that a person types on a tablet."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works


@click.command("pin")
@click.argument("person")
@in_works()
def command(job: Job, person: str) -> None:
    """Ask twice for the PIN of PERSON, 4 to 12 digits; only a scrambled form is kept."""
    from wareleaf.works.people import set_pin

    someone = job.works.settings.person_of(person)
    typed = click.prompt(
        f"PIN of {someone.name}", hide_input=True, confirmation_prompt=True, err=True
    )
    set_pin(job.works, person, typed)
    job.say({"person": person, "set": True}, [f"The PIN of {someone.name} is set."])
