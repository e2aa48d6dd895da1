"""Hold every prediction against its source; write the page as HTML and JSON."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from wareleaf.cli.common import answer, answering, json_option, table


@click.command("validate")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for index.html and validation.json; nothing is written when left out.",
)
@click.option("--case", "names", multiple=True, metavar="ID", help="Only this case; repeat it.")
@json_option
def command(out: Path | None, names: tuple[str, ...], as_json: bool) -> None:
    """Run the validation cases and say which hold.

    A case that fails is shown as failing. Exit code 1 when one fails without a known reason.
    """
    from wareleaf.measure.errors import BadInput
    from wareleaf.works.validate import all_cases, page, validate

    with answering(as_json):
        known = {case.id: case for case in all_cases()}
        for name in names:
            if name not in known:
                raise BadInput(
                    "case", name, f"There is no case {name!r}; there are: {', '.join(known)}."
                )
        outcomes = validate([known[name] for name in dict.fromkeys(names)] or None)
        rows = [(page.WORDS[o.status], o.case.id, o.case.title) for o in outcomes]
        count = page.summary(outcomes)
        said = [
            *table(("result", "case", ""), rows),
            *(f"{o.case.id}: {o.explanation}" for o in outcomes if o.explanation),
            f"{count['pass']} hold, {count['fail']} fail "
            f"({count['fail_without_known_reason']} without a known reason), "
            f"{count['not_run']} not run.",
        ]
        if out is not None:
            written, _ = page.write(outcomes, out)
            said.append(f"Written to {written}")
        answer(as_json, page.as_data(outcomes), said)
    if count["fail_without_known_reason"]:
        sys.exit(1)
