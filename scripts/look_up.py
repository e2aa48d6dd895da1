"""Write the tables of ``docs/look-up`` from the code, between their markers.

``python scripts/look_up.py`` writes; ``--check`` says what is out of date. A page keeps its own
prose; a table stands between ``<!-- table NAME -->`` and ``<!-- end -->``. What a setting means is
said in ``scripts/look_up_words.py``, because the code keeps only its type and range; a setting
without words stops the script.
"""

from __future__ import annotations

import inspect
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from look_up_lists import (
    code,
    command_rows,
    door_rows,
    evidence_rows,
    leaf_rows,
    market_rows,
    role_names,
    role_rows,
)
from look_up_words import SETTINGS

ROOT = Path(__file__).resolve().parent.parent
PAGES = ROOT / "docs" / "look-up"
MARKED = re.compile(r"<!-- table ([a-z_.]+) -->\n.*?<!-- end -->", re.S)


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table."""
    head = list(head)
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(c.replace("|", "\\|") for c in r) + " |" for r in lines)


# ---- Settings of a works -----------------------------------------------------------------------


def setting_tables() -> dict[str, dict[str, Any]]:
    """JSON Schema of each table of the settings file, by the name it has there."""
    from wareleaf.works.settings import WorksSettings

    schema = WorksSettings.model_json_schema()
    found = {}
    for name, part in schema["properties"].items():
        ref = part.get("$ref") or part.get("items", {}).get("$ref", "")
        found[name] = schema["$defs"][ref.rsplit("/", 1)[-1]]
    return found


def settings_rows(name: str) -> Iterator[list[str]]:
    """One row a field of a table of the settings file."""
    part = setting_tables()[name]
    needed = part.get("required", [])
    for field, about in part["properties"].items():
        words = SETTINGS[name].get(field)
        if not words:
            raise SystemExit(f"scripts/look_up_words.py does not say what {name}.{field} means")
        default = "must be given" if field in needed else shown(about.get("default"))
        yield [code(field), accepted(about), default, words]


def accepted(about: Mapping[str, Any]) -> str:
    """What a field takes, in words."""
    kinds = [a for a in about.get("anyOf", [about]) if a.get("type") != "null"]
    first = kinds[0]
    if "enum" in first:
        return ", ".join(code(v) for v in first["enum"])
    if first.get("type") == "array":
        inner = accepted(first["items"])
        return f"list of: {inner}"
    if "pattern" in first:
        return {
            "^[a-z][a-z0-9_-]*$": "id: small letters, digits, `_`, `-`",
            "^[a-z][a-z0-9_]*$": "word: small letters, digits, `_`",
            "^[A-Z]$": "one capital letter",
            "^[A-Z]{3}$": "three capital letters",
        }[first["pattern"]]
    word = {
        "string": "text",
        "number": "number",
        "integer": "whole number",
        "boolean": "`true` or `false`",
        "object": "table",
    }[first["type"]]
    return " ".join([word, *bounds(first)])


def bounds(about: Mapping[str, Any]) -> Iterator[str]:
    """Its range, in words."""
    for key, word in (
        ("minimum", "from {:g}"),
        ("exclusiveMinimum", "above {:g}"),
        ("maximum", "to {:g}"),
        ("exclusiveMaximum", "below {:g}"),
    ):
        if key in about:
            yield word.format(about[key])


def shown(value: Any) -> str:
    """A default, as it would be written in the file."""
    if value is None or value in ("", [], {}):
        return "none"
    if isinstance(value, float):
        return code(f"{value:g}")
    return code(value)


# ---- Equipment settings ------------------------------------------------------------------------


def specs() -> dict[str, type]:
    """Spec that the ``[equipment.settings]`` of a kind, or a table inside it, become."""
    from wareleaf.stages import blanch, dry, mill, oxidise, roll, sift, wither

    return {
        "blanch_bath": blanch.Bath,
        "wither_trough": wither.Trough,
        "roller": roll.Roller,
        "oxidation_floor": oxidise.Floor,
        "belt_dryer": dry.BeltDryer,
        "fluid_bed": dry.FluidBed,
        "zone": dry.Zone,
        "heater": dry.Heater,
        "fan": dry.Fan,
        "sifter": sift.SieveStack,
        "deck": sift.Deck,
        "mill": mill.Mill,
    }


# The settings reader fills these in before the spec is made.
LEFT_OUT = {
    ("zone", "inlet_c"): "no heater: the zone blows ambient air",
    ("blanch_bath", "temperature_c"): "the operator's setting",
    ("blanch_bath", "feed_kg_h"): "`rate_kg_h` of the machine",
    ("roller", "charge_kg"): "`capacity_kg` of the machine",
    ("oxidation_floor", "dry_bulb_c"): "the operator's setting",
    ("sifter", "feed_kg_h"): "`rate_kg_h` of the machine",
}


def described(spec: type) -> dict[str, str]:
    """What each field means, from the ``Parameters`` of a spec and of what it builds on."""
    found: dict[str, str] = {}
    for kind in reversed(spec.__mro__):
        text = inspect.cleandoc(kind.__doc__ or "")
        _, _, parameters = text.partition("Parameters\n----------\n")
        names: list[str] = []
        for line in parameters.splitlines():
            if line and not line.startswith(" "):
                names = [n.strip() for n in line.split(":")[0].split(",")]
                found |= dict.fromkeys(names, "")
            elif line.strip():
                for name in names:
                    found[name] = f"{found[name]} {line.strip()}".strip()
    return found


def spec_rows(name: str) -> Iterator[list[str]]:
    """One row a field of a spec: name, default, meaning."""
    spec = specs()[name]
    words = described(spec)
    if name == "fluid_bed":
        words = described(specs()["belt_dryer"]) | words
    for field in fields(spec):
        if not words.get(field.name):
            raise SystemExit(f"the docstring of {spec.__name__} does not say what {field.name} is")
        if field.default is not MISSING:
            default = field.default
        elif field.default_factory is not MISSING:
            default = field.default_factory()
        else:
            default = MISSING
        left_out = LEFT_OUT.get((name, field.name)) or spec_default(default)
        yield [code(field.name), left_out, words[field.name].replace("``", "`")]


def spec_default(value: Any) -> str:
    """The default of a spec; a part of its own has its own table."""
    if value is MISSING:
        return "must be given"
    if hasattr(value, "__dataclass_fields__"):
        return "as below"
    if isinstance(value, bool):
        return code(str(value).lower())
    return shown(value)


def control_rows() -> Iterator[list[str]]:
    """What an operator sets on a machine of each stage."""
    from wareleaf.works.controls import CONTROLS

    for stage, controls in CONTROLS.items():
        for c in controls:
            low, high, start = (f"{v * c.shown_per:g}" for v in (c.low, c.high, c.start))
            yield [code(stage), code(c.name), c.label, f"{low} to {high} {c.unit}", start]


# ---- All of them ------------------------------------------------------------------------------

SETTING = ("field", "takes", "when left out", "meaning")
SPEC = ("setting", "when left out", "meaning")


def tables() -> dict[str, Callable[[], str]]:
    """Every table by the name in its marker."""
    from wareleaf.measure.pedigree import Evidence

    found: dict[str, Callable[[], str]] = {
        "controls": lambda: table(
            ("stage", "setting", "on the screen", "range", "start"), control_rows()
        ),
        "doors": lambda: table(("door", "what it does", "must be given"), door_rows()),
        "commands": lambda: table(("command", "what it does"), command_rows()),
        "roles": lambda: table(("job", *role_names()), role_rows()),
        "leaf": lambda: table(
            ("id", "leaf", "fresh", "target", "stores below", "loses value", "lost"), leaf_rows()
        ),
        "markets": lambda: table(("id", "market", "answers to", "note"), market_rows()),
        "evidence": lambda: table(("room", *(e.value for e in Evidence), "all"), evidence_rows()),
    }
    for name in setting_tables():
        found[f"settings.{name}"] = lambda name=name: table(SETTING, settings_rows(name))
    for name in specs():
        found[f"equipment.{name}"] = lambda name=name: table(SPEC, spec_rows(name))
    return found


def filled(text: str, known: Mapping[str, Callable[[], str]]) -> str:
    """A page with its tables as the code now says.

    Raises
    ------
    KeyError
        For a marker that names no table.
    """
    return MARKED.sub(
        lambda m: f"<!-- table {m.group(1)} -->\n{known[m.group(1)]()}\n<!-- end -->", text
    )


def main() -> int:
    """Write, or check with ``--check``."""
    known, stale = tables(), []
    for page in sorted(PAGES.glob("*.md")):
        old = page.read_text("utf-8")
        new = filled(old, known)
        if new != old:
            stale.append(page.name)
            if "--check" not in sys.argv:
                page.write_text(new, "utf-8")
    if stale and "--check" in sys.argv:
        print(f"out of date: {', '.join(stale)}; run: .venv/bin/python scripts/look_up.py")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
