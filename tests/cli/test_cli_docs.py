"""The how-to pages: every command line on them exists, and the import page names every field."""

import re
import shlex
from pathlib import Path

import click
import pytest

from wareleaf.cli.main import cli
from wareleaf.works.sheets.fields import FIELDS

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGES = (
    "do/take-in-leaf.md",
    "do/run-a-stage.md",
    "do/release-a-lot.md",
    "do/import-sheets.md",
    "do/back-up-and-restore.md",
    "do/blend.md",
    "do/pack-and-ship.md",
    "do/correct-a-mistake.md",
    "do/trace-and-recall.md",
    "do/set-up-your-own-works.md",
    "do/move-to-postgresql.md",
)


def lines() -> list[tuple[str, str]]:
    """Command lines in indented blocks, joined where a backslash ends them."""
    found = []
    for page in PAGES:
        text = (DOCS / page).read_text("utf-8").replace("\\\n", " ")
        found += [(page, m) for m in re.findall(r"^ {4,}wareleaf (.+)$", text, re.M)]
    return found


@pytest.mark.parametrize(("page", "line"), lines())
def test_a_command_line_on_a_page_exists(page, line):
    words = shlex.split(line, comments=True)
    context = click.Context(cli)
    command = cli.get_command(context, words[0])
    assert command is not None, f"{page}: there is no command {words[0]}"
    if isinstance(command, click.Group):
        words = words[1:]
        command = command.commands[words[0]]
    known = {o for p in command.params for o in p.opts}
    used = {w.partition("=")[0] for w in words[1:] if re.match(r"--?[a-z]", w)}
    assert used <= known, f"{page}: {used - known}"
    needed = {p.opts[0] for p in command.params if isinstance(p, click.Option) and p.required}
    assert needed <= used, f"{page}: {needed - used} is needed"


def test_the_import_page_names_every_field():
    text = (DOCS / "do/import-sheets.md").read_text("utf-8")
    for job, fields in FIELDS.items():
        section = text.partition(f"### {job}\n")[2].partition("\n###")[0]
        rows = re.findall(r"^\| `(\w+)` \| (yes)? ?\| (.+) \|$", section, re.M)
        wanted = [(n, "yes" if f.needed else "", f.meaning) for n, f in fields.items()]
        assert rows == wanted


@pytest.mark.parametrize("page", PAGES[:5])
def test_links_of_a_page_lead_somewhere(page):
    here = DOCS / page
    for link in re.findall(r"\]\(([^)#]+\.md)", here.read_text("utf-8")):
        assert (here.parent / link).is_file(), f"{page} links to {link}"
