"""The validation page: every case with its source, tolerance, result and whether it holds.

Cases stand in one module a subject; `validate` runs them, `page.write` writes HTML and JSON. A case
that fails is shown as failing: with its known reason, or as a defect when there is none.
"""

from __future__ import annotations

import time
import tomllib
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from importlib import resources

from wareleaf.works.validate.case import Case, NotRun, Outcome


@cache
def all_cases() -> tuple[Case, ...]:
    """Every case, in the order of the page; what it says of itself stands in data/cases.toml."""
    from wareleaf.works.validate import air, blade, fits, published, solvers, tunnel, worked

    rooms = (air, solvers, blade, tunnel, fits, worked, published)
    runs = {name: run for room in rooms for name, run in room.RUNS.items()}
    text = resources.files(__name__).joinpath("data/cases.toml").read_text("utf-8")
    told = tomllib.loads(text)
    assert told.keys() == runs.keys(), sorted(told.keys() ^ runs.keys())
    return tuple(
        Case(id=name, run=runs[name], **{**fields, "missed": tuple(fields.get("missed", ()))})
        for name, fields in told.items()
    )


def validate(cases: Iterable[Case] | None = None) -> list[Outcome]:
    """Run the cases; one that breaks down counts as failing, with what it said."""
    return [run_case(case) for case in (all_cases() if cases is None else cases)]


def run_case(case: Case) -> Outcome:
    """Run one case."""
    began = time.perf_counter()
    try:
        found = case.run()
    except NotRun as reason:
        return Outcome(case, "not run", None, str(reason), time.perf_counter() - began)
    except Exception as error:  # a broken case must be seen, not lost
        said = f"The case broke down: {type(error).__name__}: {error}"
        return Outcome(case, "fail", None, said, time.perf_counter() - began)
    holds = all(check.holds for check in found.checks) and len(found.checks) > 0
    seconds = time.perf_counter() - began
    if holds:
        return Outcome(case, "pass", found, "", seconds)
    failed = Outcome(case, "fail", found, case.miss, seconds)
    if not failed.unexplained:
        return failed
    unknown = [c.name for c in found.checks if not c.holds and c.name not in case.missed]
    defect = f"No reason is known for {', '.join(unknown) or 'this'}: take it as a defect."
    return replace(failed, explanation=f"{defect} {case.miss}".strip())
