"""docs/look-up/commands.md says what the commands are, and help answers at once."""

import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from wareleaf.cli.main import cli
from wareleaf.cli.reference import COMMON, MARK, page

PAGE = Path(__file__).resolve().parents[2] / "docs" / "look-up" / "commands.md"
LONGEST_HELP_S = 0.3


def commands() -> list[tuple[str, click.Command]]:
    found = []
    context = click.Context(cli)
    for name in cli.list_commands(context):
        command = cli.get_command(context, name)
        if isinstance(command, click.Group):
            found += [(f"{name} {sub}", each) for sub, each in sorted(command.commands.items())]
        else:
            found.append((name, command))
    return found


def test_the_page_is_what_the_commands_say():
    text = PAGE.read_text("utf-8")
    assert page(text) == text, "run: .venv/bin/python -m wareleaf.cli.reference " + str(PAGE)


def test_every_option_on_the_page_is_one_of_its_command():
    known = dict(commands())
    sections = PAGE.read_text("utf-8").partition(MARK)[2].split("\n## ")[1:]
    assert [s.splitlines()[0] for s in sections] == list(known)
    for section in sections:
        command = known[section.splitlines()[0]]
        options = {o for p in command.params for o in p.opts if o.startswith("-")}
        written = set(re.findall(r"`(--?[a-z-]+)`", section))
        own = [p for p in command.params if isinstance(p, click.Option) and p.name not in COMMON]
        assert {o for p in own for o in p.opts} <= written <= options


@pytest.mark.parametrize(("name", "command"), commands(), ids=[n for n, _ in commands()])
def test_every_command_says_what_it_does_and_what_each_option_means(name, command):
    assert command.help and command.help.strip()[0].isupper()
    for param in command.params:
        if isinstance(param, click.Option):
            assert param.help, f"{name} {param.opts[0]} has no help"


def test_help_answers_at_once():
    """The best of five: 0.3 s of processor time, user and system, for the process as a whole.

    One thread and no waiting: on an idle machine that is the wall time, and a busy one cannot fail
    it.
    """
    took = []
    for _ in range(5):
        before = os.times()
        done = subprocess.run(
            [sys.executable, "-m", "wareleaf", "--help"], capture_output=True, text=True, check=True
        )
        after = os.times()
        user = after.children_user - before.children_user
        took.append(user + after.children_system - before.children_system)
    assert min(took) < LONGEST_HELP_S
    assert "take-in" in done.stdout


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from wareleaf.cli.main import cli; "
        "from click.testing import CliRunner; CliRunner().invoke(cli, ['--help']); "
        "print([m for m in ('numpy', 'sqlalchemy', 'pydantic', 'typst') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_dryer_loads_no_more_of_scipy_than_it_needs():
    """Optimisation, quadrature and statistics are most of a first call and none of a dryer."""
    code = (
        "import sys; from wareleaf.works import doors; "
        "from wareleaf.stages import dry; import wareleaf.works.doors.dryer; "
        "names = ('optimize', 'integrate', 'stats', 'sparse', 'interpolate'); "
        "print([m for m in names if f'scipy.{m}' in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
