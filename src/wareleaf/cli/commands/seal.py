"""Seal the book: sign a checkpoint of all events so far; keys, rotation and proofs."""

from __future__ import annotations

import os
from pathlib import Path

import click

from wareleaf.cli.common import (
    Job,
    answer,
    answering,
    in_works,
    json_option,
    next_step,
    opened,
    works_option,
)

PASSPHRASE = "WARELEAF_SEAL_PASSPHRASE"


def passphrase(words: str, *, new: bool = False, variable: str = PASSPHRASE) -> str:
    """From the environment, or asked for without showing it."""
    given = os.environ.get(variable)
    if given is not None:
        return given
    asked: str = click.prompt(words, hide_input=True, confirmation_prompt=new, err=True)
    return asked


@click.group("seal", invoke_without_command=True)
@click.option("--origin", default="", help="Name of the book's key, the first time.")
@click.option("--quick", is_flag=True, help="Leave out the check of every derived table.")
@works_option
@json_option
@click.pass_context
def command(
    context: click.Context, origin: str, quick: bool, works_folder: Path | None, as_json: bool
) -> None:
    """Sign a checkpoint of the book, or with a subcommand: keys, rotate, backup, check, proof."""
    if context.invoked_subcommand is None:
        with answering(as_json), opened(works_folder, quiet=as_json) as works:
            _seal(Job(works, "", as_json), origin, quick)


def _seal(job: Job, origin: str, quick: bool) -> None:
    from wareleaf.works.seal_book import seal_now, state_of

    first = not state_of(job.works).vkeys
    words = passphrase("Passphrase of the seal", new=first)
    done = seal_now(job.works, words, origin, whole_check=not quick)
    lines = [done.note, f"Sealed {done.size} events. Send these lines to someone outside."]
    if done.new_key:
        lines += [
            f"A key was made. Public key, for everyone who checks: {done.vkey}",
            "Keep a copy of seal.key and its passphrase elsewhere, apart from each other.",
            next_step("seal backup FILE"),
        ]
    job.say(done, lines)


@command.command("keys")
@in_works()
def keys(job: Job) -> None:
    """Show public keys and signed checkpoints."""
    from wareleaf.works.seal_book import state_of

    state = state_of(job.works)
    lines = [f"Sealed as {state.origin or '(never)'}"]
    lines += [f"key {n}: {v}" for n, v in enumerate(state.vkeys, 1)]
    lines += [f"checkpoint of {size} events" for size, _ in sorted(state.checkpoints)]
    job.say(state, lines)


@command.command("rotate")
@click.option("--lost", is_flag=True, help="The old key is lost; the new one stands alone.")
@in_works()
def rotate(job: Job, lost: bool) -> None:
    """Make a new key, vouched for by the old one."""
    from wareleaf.works import seal_book

    old = "" if lost else passphrase("Passphrase of the old key")
    new = passphrase("Passphrase of the new key", new=True, variable=PASSPHRASE + "_NEW")
    done = seal_book.rotate(job.works, old, new, lost=lost)
    lines = [done.note, f"New public key: {done.vkey}"]
    lines.append(
        "Hand the new key over in person: nothing ties it to the old one."
        if lost
        else "The checkpoint above bears both signatures: who trusts the old key can take the new."
    )
    job.say(done, lines)


@command.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@in_works()
def backup(job: Job, file: Path) -> None:
    """Copy the key, still under its passphrase, to FILE."""
    from wareleaf.works.seal_book import back_up_key

    back_up_key(job.works, file)
    job.say(
        {"file": file},
        [f"The key is copied to {file}. Without its passphrase it is worth nothing: keep both."],
    )


@command.command("check")
@in_works()
def check(job: Job) -> None:
    """Hold the book against every checkpoint that was signed."""
    from wareleaf.measure.errors import BadInput
    from wareleaf.works.seal_book import changed_since, state_of

    changed = changed_since(job.works)
    if changed:
        raise BadInput("book", None, changed)
    count = len(state_of(job.works).checkpoints)
    job.say({"checkpoints": count}, [f"The book fits all {count} signed checkpoints."])


@command.command("page")
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def page(file: Path, as_json: bool) -> None:
    """Write to FILE a page that checks receipts and proofs offline, in any browser."""
    from wareleaf.measure.errors import require
    from wareleaf.reports.buyer_page import buyer_page

    with answering(as_json):
        require(not file.exists(), "file", str(file), f"{file} exists already; name another file.")
        file.write_text(buyer_page(), "utf-8")
        answer(as_json, {"file": file}, [f"Written to {file}. Who checks opens it as it is."])


@command.command("proof")
@click.argument("older", type=int)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--newer", type=int, default=0, help="Size of the newer one; the last when left out.")
@in_works()
def proof(job: Job, older: int, file: Path, newer: int) -> None:
    """Write to FILE that the book signed at OLDER events is the beginning of a newer one."""
    from wareleaf.works.seal_book import proof_between, write_json

    made = proof_between(job.works, older, newer)
    write_json(file, made)
    job.say(made, [f"Written to {file}.", next_step(f"verify {file} --key VKEY")])
