"""Run the benchmarks: ``python -m bench [NAME ...] [--json] [--list]``."""

from __future__ import annotations

import argparse
import importlib
import json
import os
import pkgutil
import platform
import sys
from dataclasses import asdict
from pathlib import Path

from bench import Row, meets

_PREFIX = "bench_"


def names() -> list[str]:
    """Names of all benchmark modules, sorted."""
    found = (m.name for m in pkgutil.iter_modules([str(Path(__file__).parent)]))
    return sorted(n.removeprefix(_PREFIX) for n in found if n.startswith(_PREFIX))


def main(arguments: list[str] | None = None) -> int:
    """Run and print; exit 1 when a benchmark fails or a target is missed."""
    known = names()
    parser = argparse.ArgumentParser(prog="bench", description="Wareleaf's benchmarks.")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one of: {', '.join(known)}")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    parser.add_argument("--list", action="store_true", help="list the benchmarks")
    options = parser.parse_args(arguments)
    unknown = [n for n in options.names if n not in known]
    if unknown:
        parser.error(f"there is no benchmark {unknown[0]!r}; there are: {', '.join(known)}")
    if options.list:
        print("\n".join(known))
        return 0
    rows: dict[str, list[Row]] = {}
    failed = {}
    for name in options.names or known:
        print(f"running {name} ...", file=sys.stderr, flush=True)
        try:
            rows[name] = importlib.import_module(f"bench.{_PREFIX}{name}").run()
        except Exception as error:
            failed[name] = f"{type(error).__name__}: {error}"
    _print_json(rows, failed) if options.json else _print_table(rows, failed)
    missed = any(meets(row) is False for group in rows.values() for row in group)
    return 1 if failed or missed else 0


def _machine() -> dict[str, str | int | None]:
    return {
        "python": platform.python_version(),
        "machine": platform.machine(),
        "cores": os.cpu_count(),
    }


def _print_json(rows: dict[str, list[Row]], failed: dict[str, str]) -> None:
    groups = {
        name: [{**asdict(row), "met": meets(row)} for row in group] for name, group in rows.items()
    }
    print(json.dumps({"machine": _machine(), "benchmarks": groups, "failed": failed}, indent=2))


def _print_table(rows: dict[str, list[Row]], failed: dict[str, str]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE, title="Wareleaf benchmarks")
    table.add_column("benchmark")
    for heading in ("ours", "reference"):
        table.add_column(heading, justify="right")
    table.add_column("unit")
    table.add_column("ratio", justify="right")
    table.add_column("target")
    table.add_column("note")
    for name, group in rows.items():
        table.add_section()
        table.add_row(f"[bold]{name.replace('_', ' ')}[/bold]")
        for row in group:
            met = {True: " met", False: " MISSED", None: ""}[meets(row)]
            table.add_row(
                row.name,
                _short(row.ours),
                "" if row.reference is None else _short(row.reference),
                row.unit,
                "" if row.ratio is None else _short(row.ratio),
                f"{row.target}{met}",
                row.note,
            )
    machine = _machine()
    console = Console(width=None if sys.stdout.isatty() else 160)
    console.print(table)
    console.print(f"Python {machine['python']}, {machine['machine']}, {machine['cores']} cores.")
    for name, reason in failed.items():
        console.print(f"{name} failed: {reason}")


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


if __name__ == "__main__":
    sys.exit(main())
