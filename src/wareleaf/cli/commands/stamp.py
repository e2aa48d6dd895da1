"""Have a checkpoint time-stamped by an outside authority (RFC 3161)."""

from __future__ import annotations

from pathlib import Path

import click

from wareleaf.cli.common import Job, in_works, next_step

FILE = click.Path(path_type=Path)
SIZE = click.option("--size", type=int, default=0, help="Checkpoint; the last when left out.")
CA = click.option(
    "--ca",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    required=True,
    help="Root certificate of the authority, and those between, PEM.",
)


@click.group("stamp")
def command() -> None:
    """Ask for, keep and show time stamps of checkpoints."""


@command.command("ask")
@click.argument("file", type=FILE)
@SIZE
@in_works()
def ask(job: Job, file: Path, size: int) -> None:
    """Write a request to FILE, to be sent to an authority by any way."""
    from wareleaf.measure.errors import require
    from wareleaf.works.stamp import note_of, request_for

    require(not file.exists(), "file", str(file), f"{file} exists already; name another file.")
    size, note = note_of(job.works, size)
    file.write_bytes(request_for(note))
    job.say(
        {"file": file, "size": size},
        [
            f"Request for the checkpoint of {size} events written to {file}.",
            next_step(f"stamp keep ANSWER --ca CA.pem --size {size}"),
        ],
    )


@command.command("get")
@click.argument("url")
@CA
@SIZE
@in_works()
def get(job: Job, url: str, ca: Path, size: int) -> None:
    """Ask the authority at URL, check its answer and keep it."""
    from wareleaf.works import stamp

    size, note = stamp.note_of(job.works, size)
    _kept(job, stamp.keep(job.works, stamp.ask(url, note), ca.read_bytes(), size))


@command.command("keep")
@click.argument("answer", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@CA
@SIZE
@in_works()
def keep(job: Job, answer: Path, ca: Path, size: int) -> None:
    """Check the ANSWER of an authority and keep it with the seal."""
    from wareleaf.works import stamp

    _kept(job, stamp.keep(job.works, answer.read_bytes(), ca.read_bytes(), size))


def _kept(job: Job, made) -> None:
    when = job.show(made.at)
    job.say(made, [f"Kept: the book of {made.size} events was signed by {when}, says {made.by}."])


@command.command("show")
@in_works()
def show(job: Job) -> None:
    """The time stamps that were kept."""
    from wareleaf.works.stamp import stamps

    found = stamps(job.works)
    lines = [f"{s.size} events: by {job.show(s.at)}, says {s.by}" for s in found]
    job.say({"stamps": found}, lines or ["No checkpoint was time-stamped yet."])
