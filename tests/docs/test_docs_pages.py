"""The documentation holds: links lead somewhere, examples run, commands exist."""

from __future__ import annotations

import re
import shlex
import struct
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from wareleaf.cli.main import cli
from wareleaf.web.view import RAIL
from wareleaf.works.doors import door_names

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
ROOT_PAGES = ("README.md", "CHANGELOG.md", "CONTRIBUTING.md", "bench/README.md")
PAGES = sorted([*DOCS.rglob("*.md"), *(ROOT / name for name in ROOT_PAGES)])
NAMES = [str(page.relative_to(ROOT)) for page in PAGES]

FENCED = re.compile(r"^```(\w*)\n(.*?)^```", re.S | re.M)
LINK = re.compile(r"(?<!`)!?\[[^\]]*\]\(([^)\s]+)\)")
COMMAND = re.compile(r"(?:^|[\s`(])(?:\./)?wareleaf ([a-z][a-z-]*)([^`\n]*)")
PICTURE = DOCS / "pictures" / "day.png"
# Hosts that a page may name: the open format of the settings, this machine, and a placeholder.
# id.gs1.org is how the open standard spells a product's name; *.example is nobody's.
HOSTS = {"toml.io", "127.0.0.1", "db.example", "works.example", "id.gs1.org", "localhost"}


def without_code(text: str) -> str:
    """Prose: no fenced blocks, no spans."""
    return re.sub(r"`[^`\n]*`", "``", FENCED.sub("", text))


def links(page: Path) -> Iterator[Path]:
    """Files that a page links to."""
    for target in LINK.findall(without_code(page.read_text("utf-8"))):
        if "://" not in target and not target.startswith(("#", "mailto:")):
            yield (page.parent / target.partition("#")[0]).resolve()


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_links_lead_to_files(page: Path) -> None:
    missing = [str(t.relative_to(ROOT)) for t in links(page) if not t.exists()]
    assert not missing


def test_every_page_is_reached_from_the_first_one() -> None:
    todo, seen = [DOCS / "index.md"], set()
    while todo:
        page = todo.pop()
        if page in seen:
            continue
        seen.add(page)
        todo += [t for t in links(page) if t.suffix == ".md" and DOCS in t.parents]
    hidden = {p for p in PAGES if DOCS in p.parents} - seen
    assert not hidden
    assert DOCS / "index.md" in set(links(ROOT / "README.md"))


def python_blocks() -> list[Path]:
    return [p for p in PAGES if any(k == "python" for k, _ in FENCED.findall(p.read_text("utf-8")))]


@pytest.mark.parametrize("page", python_blocks(), ids=lambda p: str(p.relative_to(ROOT)))
def test_python_examples_run_from_top_to_bottom(page: Path) -> None:
    known: dict[str, object] = {}
    for kind, block in FENCED.findall(page.read_text("utf-8")):
        if kind == "python":
            exec(compile(block, str(page), "exec"), known)


def spans_and_blocks(text: str) -> Iterator[str]:
    """Everything set as code: fenced, indented, and between backticks (also over a line end)."""
    for kind, block in FENCED.findall(text):
        if kind != "python":
            yield from block.splitlines()
    prose = FENCED.sub("", text)
    joined = re.sub(r"\\\n\s+", " ", prose)
    yield from (line for line in joined.splitlines() if line.startswith("    "))
    yield from (f"`{span}`".replace("\n", " ") for span in re.findall(r"`([^`]+)`", prose))


def find_command(name: str, rest: list[str]) -> tuple[click.Command, list[str]] | None:
    """The command that a line means, groups followed, and what is left of the line."""
    context = click.Context(cli)
    command = cli.get_command(context, name)
    while isinstance(command, click.Group) and rest and not rest[0].startswith("-"):
        inner = command.get_command(context, rest[0])
        if inner is None:
            return None
        command, rest = inner, rest[1:]
    return (command, rest) if command else None


def words_of(line: str) -> list[str]:
    """A line as the shell splits it, as far as it can be."""
    line = re.split(r"\s{2,}|[|;]|\s[<>]", line)[0].strip().rstrip(".,:)")
    try:
        return shlex.split(line)
    except ValueError:
        return line.split()


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_commands_and_their_options_exist(page: Path) -> None:
    for code in spans_and_blocks(page.read_text("utf-8")):
        for name, rest in COMMAND.findall(code):
            if name == "COMMAND":
                continue
            found = find_command(name, words_of(rest))
            assert found is not None, f"there is no command wareleaf {name}: {code.strip()}"
            command, words = found
            options = {o for p in command.params for o in (*p.opts, *p.secondary_opts)}
            for word in words:
                option = word.partition("=")[0]
                if option.startswith("--") and option != "--help":
                    assert option in options, f"wareleaf {name} has no {option}: {code.strip()}"
            if name == "calc" and words and words[0][0] not in "-[":
                assert words[0] in (*door_names(), "NAME"), f"there is no door {words[0]}"


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_pages_of_the_app_are_called_by_their_names(page: Path) -> None:
    shown = {word for _, word in RAIL}
    named = set(re.findall(r"\bpages? \*([A-Z]\w+)\*", page.read_text("utf-8")))
    assert named <= shown


@pytest.mark.parametrize("page", PAGES, ids=NAMES)
def test_no_addresses_of_others_and_no_paths_of_this_machine(page: Path) -> None:
    text = page.read_text("utf-8")
    hosts = set(re.findall(r"[a-z]+://(?:[^/\s@`]+@)?([A-Za-z0-9.-]+)", text))
    strange = {h for h in hosts if h.strip(".")} - HOSTS
    assert not strange
    tops = "|".join(re.escape(p.name) for p in Path("/").iterdir() if p.name != "mnt")
    paths = re.findall(rf"(?<![\w.)/:-])/(?:{tops})/\S+", text)
    assert not paths


def test_the_picture_is_small_and_of_a_tablet() -> None:
    content = PICTURE.read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", content[16:24]) == (1280, 800)
    assert len(content) < 300_000
