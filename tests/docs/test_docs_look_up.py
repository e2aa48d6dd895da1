"""The look-up tables say what the code says."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

from wareleaf.measure.pedigree import Evidence
from wareleaf.works import finding, watch
from wareleaf.works.settings import read_settings
from wareleaf.works.settings.machines import EquipmentKind
from wareleaf.works.watch import instruments

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted((ROOT / "docs" / "look-up").glob("*.md"))


@pytest.fixture(scope="module")
def look_up() -> ModuleType:
    folder = str(ROOT / "scripts")
    sys.path.insert(0, folder)
    try:
        spec = importlib.util.spec_from_file_location("look_up", ROOT / "scripts" / "look_up.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(folder)
    return module


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_a_page_is_as_the_code_says(look_up: ModuleType, page: Path) -> None:
    text = page.read_text("utf-8")
    assert look_up.filled(text, look_up.tables()) == text, (
        "run: .venv/bin/python scripts/look_up.py"
    )


def test_every_table_stands_on_a_page(look_up: ModuleType) -> None:
    shown = {name for page in PAGES for name in look_up.MARKED.findall(page.read_text("utf-8"))}
    assert shown == set(look_up.tables())


def test_a_new_setting_without_words_is_noticed(
    look_up: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delitem(look_up.SETTINGS["meter"], "method")
    with pytest.raises(SystemExit, match=r"meter\.method"):
        list(look_up.settings_rows("meter"))


def test_a_page_that_is_out_of_date_is_noticed(look_up: ModuleType) -> None:
    page = "<!-- table roles -->\n| job |\n<!-- end -->"
    assert "release a lot" in look_up.filled(page, look_up.tables())


def test_every_kind_of_machine_is_explained(look_up: ModuleType) -> None:
    text = (ROOT / "docs" / "look-up" / "equipment.md").read_text("utf-8")
    kinds = set(EquipmentKind.__args__)  # type: ignore[attr-defined]
    plain = {"wash_tank", "packing_bench"}
    assert kinds - plain <= set(look_up.specs())
    assert all(f"`{kind}`" in text for kind in kinds)


def test_the_demo_uses_only_settings_of_the_tables(look_up: ModuleType) -> None:
    """What the page lists is what a machine takes: the demo's own file, field by field."""
    settings = read_settings(ROOT / "src" / "wareleaf" / "works" / "demo" / "works.toml")
    for machine in settings.equipment:
        if not machine.settings:
            continue
        fields = {row[0].strip("`") for row in look_up.spec_rows(machine.kind)}
        fields |= {"cut"} if machine.kind == "oxidation_floor" else set()
        assert set(machine.settings) <= fields


def test_alarms_are_those_that_are_raised() -> None:
    text = (ROOT / "docs" / "look-up" / "alarms.md").read_text("utf-8")
    files = Path(watch.__file__).parent.glob("*.py")
    source = "".join(file.read_text("utf-8") for file in files)
    raised = set(re.findall(r'kind="([a-z]+)",\n\s+severity', source))
    assert set(re.findall(r"^\| `([a-z]+)` \|", text, re.M)) == raised


def test_alarms_state_the_rates_of_the_code() -> None:
    text = (ROOT / "docs" / "look-up" / "alarms.md").read_text("utf-8")
    rates = re.findall(r"(\d\.\d) % (?:a site|over all)", text)
    assert len(rates) == 4
    assert {float(r) / 100.0 for r in rates} == {finding.FALSE_ALARM}
    assert f"**{100 * finding.FALSE_ALARM:g} %**" in text
    assert f"at least {instruments.FEWEST_WEIGHTS} loads" in text
    assert f"at least {instruments.FEWEST_PAIRS} days" in text
    assert f"within {100 * instruments.TICKET_RELATIVE_SD:g} %" in text


def test_evidence_marks_are_those_of_the_tables() -> None:
    text = (ROOT / "docs" / "look-up" / "evidence.md").read_text("utf-8")
    marks = re.findall(r"^\| `([a-z]+)` \| [a-z]", text, re.M)
    assert marks == [mark.value for mark in Evidence]


def test_names_of_the_glossary_are_used() -> None:
    text = (ROOT / "docs" / "look-up" / "words.md").read_text("utf-8")
    names = {
        name
        for cell in re.findall(r"^\| (`[^|]+) \|", text, re.M)
        for name in re.findall(r"`([a-z_]+)`", cell)
    }
    assert len(names) > 20
    code = "\n".join(p.read_text("utf-8") for p in (ROOT / "src").rglob("*.py"))
    assert not {name for name in names if not re.search(rf"\b{name}\b", code)}
