"""Refuse a day that makes no sense, naming the field, the value and what would be accepted."""

from __future__ import annotations

import math
from collections.abc import Iterator

from wareleaf.measure import BadInput, Problem
from wareleaf.plan.board import Day, Frozen, Interrupted, Machine
from wareleaf.plan.loads import Load, Step

GRIDS = (1, 5, 10, 15, 30, 60)


def validate(day: Day) -> None:
    """Check a day.

    Raises
    ------
    BadInput
        With every problem found.
    """
    found = list(_problems(day))
    if found:
        raise BadInput.of(found)


def _problems(day: Day) -> Iterator[Problem]:
    yield from _number("horizon_h", day.horizon_h, "must be above now_h", day.now_h, strict=True)
    if math.isfinite(day.horizon_h) and day.horizon_h > 240.0:
        yield Problem(
            "horizon_h", day.horizon_h, f"horizon_h is {day.horizon_h} h; at most 240 h is planned."
        )
    for name in ("move_price", "move_price_per_h", "finish_price_per_h", "early_price_per_h"):
        yield from _number(name, getattr(day, name))
    if day.grid_min is not None and day.grid_min not in GRIDS:
        yield Problem(
            "grid_min", day.grid_min, f"grid_min is {day.grid_min}; accepted are {list(GRIDS)}."
        )
    yield from _twice("loads", [x.id for x in day.loads])
    yield from _twice("machines", [x.id for x in day.machines])
    for i, machine in enumerate(day.machines):
        yield from _machine(f"machines[{i}]", machine)
    for i, shift in enumerate(day.crew):
        yield from _number(f"crew[{i}].to_h", shift.to_h, "must be above from_h", shift.from_h)
        yield from _number(f"crew[{i}].count", shift.count)
    for i, band in enumerate(day.tariff):
        yield from _number(f"tariff[{i}].to_h", band.to_h, "must be above from_h", band.from_h)
        yield from _number(f"tariff[{i}].price_per_kwh", band.price_per_kwh)
    machines = {m.id: m for m in day.machines}
    for i, load in enumerate(day.loads):
        yield from _load(f"loads[{i}]", load, day, machines)
    yield from _settled(day, machines)


def _number(
    field: str,
    value: float,
    want: str = "must be 0 or more",
    low: float = 0.0,
    strict: bool = False,
) -> Iterator[Problem]:
    good = math.isfinite(value) and (value > low if strict else value >= low)
    if not good:
        yield Problem(field, value, f"{field} is {value}; it {want} and finite.")


def _twice(field: str, ids: list[str]) -> Iterator[Problem]:
    for one in sorted({i for i in ids if ids.count(i) > 1}):
        yield Problem(field, one, f"{field}: the id {one!r} occurs twice; ids must differ.")


def _machine(where: str, m: Machine) -> Iterator[Problem]:
    positive = "must be above 0"
    for name in ("capacity_kg", "rate_kg_h"):
        value = getattr(m, name)
        if value is not None:
            yield from _number(f"{where}.{name}", value, positive, strict=True)
    for name in ("warm_up_h", "warm_up_price", "fire_price_per_h", "clean_h"):
        yield from _number(f"{where}.{name}", getattr(m, name))
    if m.shared and m.capacity_kg is None:
        yield Problem(
            f"{where}.capacity_kg",
            None,
            f"{where}.capacity_kg is missing; a shared machine needs its capacity in kg.",
        )
    if m.shared and m.clean_h > 0.0:
        yield Problem(
            f"{where}.clean_h",
            m.clean_h,
            f"{where}.clean_h is {m.clean_h}; a shared machine takes 0 (no cleaning).",
        )
    for k, (a, b) in enumerate(m.windows or ()):
        field = f"{where}.windows[{k}]"
        yield from _number(field, b, f"must end after it begins at {a}", a, strict=True)


def _load(where: str, load: Load, day: Day, machines: dict[str, Machine]) -> Iterator[Problem]:
    yield from _number(f"{where}.mass_kg", load.mass_kg, "must be above 0", strict=True)
    for name in ("value_per_kg", "hold_h", "late_price_per_kg_h"):
        yield from _number(f"{where}.{name}", getattr(load, name))
    for name in ("divert_price_per_kg", "refuse_price_per_kg"):
        value = getattr(load, name)
        if value is not None:
            yield from _number(f"{where}.{name}", value)
    for name in ("ready_h", "due_h"):
        value = getattr(load, name)
        if value is not None and not math.isfinite(value):
            yield Problem(
                f"{where}.{name}", value, f"{where}.{name} is {value}; give finite hours."
            )
    want = f"must be at least hold_h ({load.hold_h})"
    yield from _number(f"{where}.spoil_h", load.spoil_h, want, load.hold_h)
    if not load.route:
        yield Problem(f"{where}.route", [], f"{where}.route is empty; give at least one step.")
    skills = {c.skill for c in day.crew} | {"general"}
    for k, step in enumerate(load.route):
        yield from _step(f"{where}.route[{k}]", step, machines)
        if day.crew and step.crew and step.skill not in skills:
            yield Problem(
                f"{where}.route[{k}].skill",
                step.skill,
                f"{where}.route[{k}].skill is {step.skill!r}; the crew has {sorted(skills)}.",
            )
    if load.route and load.route[0].flows:
        yield Problem(
            f"{where}.route[0].flows",
            True,
            f"{where}.route[0]: the first step has none to flow from.",
        )


def _step(where: str, step: Step, machines: dict[str, Machine]) -> Iterator[Problem]:
    positive = "must be above 0"
    yield from _number(f"{where}.mass_factor", step.mass_factor, positive, strict=True)
    for name in ("crew", "min_wait_h", "wait_price_per_kg_h"):
        yield from _number(f"{where}.{name}", getattr(step, name))
    if step.crew_h is not None:
        yield from _number(f"{where}.crew_h", step.crew_h, positive, strict=True)
    if step.max_wait_h is not None:
        want = f"must be at least min_wait_h ({step.min_wait_h})"
        yield from _number(f"{where}.max_wait_h", step.max_wait_h, want, step.min_wait_h)
    if not step.options:
        yield Problem(
            f"{where}.options", [], f"{where}.options is empty; name at least one machine."
        )
    yield from _twice(f"{where}.options", [o.machine_id for o in step.options])
    for k, option in enumerate(step.options):
        field = f"{where}.options[{k}]"
        machine = machines.get(option.machine_id)
        if machine is None:
            yield Problem(
                f"{field}.machine_id",
                option.machine_id,
                f"{field}.machine_id {option.machine_id!r} is no machine of the day; "
                f"there are {sorted(machines)}.",
            )
            continue
        yield from _number(f"{field}.power_kw", option.power_kw)
        for name in ("capacity_kg", "rate_kg_h"):
            value = getattr(option, name)
            if value is not None:
                yield from _number(f"{field}.{name}", value, positive, strict=True)
        rate = option.rate_kg_h
        if rate is None and option.capacity_kg is None:
            rate = machine.rate_kg_h
        yield from _number(
            f"{field}.duration_h",
            option.duration_h,
            "must be 0 or more" if rate is not None else positive,
            strict=rate is None,
        )


def _cold(day: Day, machines: dict[str, Machine]) -> Iterator[Problem]:
    """Frozen runs ahead on a machine that cannot be hot by then."""
    for k, f in enumerate(day.frozen):
        m = machines.get(f.machine_id)
        if m is None or f.start_h < day.now_h or m.hot_from_h is not None:
            continue
        running = any(x.machine_id == m.id and x.start_h <= day.now_h < x.end_h for x in day.frozen)
        if not running and f.start_h < day.now_h + m.warm_up_h - 1e-9:
            yield Problem(
                f"frozen[{k}].start_h",
                f.start_h,
                f"frozen[{k}].start_h is {f.start_h}; {m.id} is cold and cannot be hot before "
                f"{day.now_h + m.warm_up_h} (say hot_from_h if it is lit).",
            )


def _settled(day: Day, machines: dict[str, Machine]) -> Iterator[Problem]:
    loads = {x.id: x for x in day.loads}
    steps: dict[tuple[str, int], set[int]] = {}
    settled: list[tuple[str, tuple[Frozen | Interrupted, ...]]] = [
        ("frozen", day.frozen),
        ("interrupted", day.interrupted),
    ]
    for name, items in settled:
        for k, item in enumerate(items):
            load = loads.get(item.load_id)
            if load is None or not 0 <= item.step < len(load.route):
                yield Problem(
                    f"{name}[{k}]",
                    item.load_id,
                    f"{name}[{k}]: {item.load_id!r} step {item.step} is no step of the day.",
                )
                continue
            steps.setdefault((item.load_id, item.part), set()).add(item.step)
    for k, f in enumerate(day.frozen):
        yield from _number(
            f"frozen[{k}].end_h", f.end_h, f"must be above start_h ({f.start_h})", f.start_h, True
        )
        known = loads.get(f.load_id)
        if f.machine_id not in machines or (
            known
            and f.step < len(known.route)
            and f.machine_id not in [o.machine_id for o in known.route[f.step].options]
        ):
            yield Problem(
                f"frozen[{k}].machine_id",
                f.machine_id,
                f"frozen[{k}].machine_id {f.machine_id!r} cannot do that step.",
            )
    yield from _cold(day, machines)
    for (load_id, part), mine in steps.items():
        if mine != set(range(len(mine))):
            yield Problem(
                "frozen",
                load_id,
                f"frozen: of {load_id} part {part} the steps {sorted(mine)} are settled; "
                "settle a route from its first step on.",
            )
    for k, (load_id, count) in enumerate(day.parts):
        if load_id not in loads or count < 1:
            yield Problem(
                f"parts[{k}]",
                count,
                f"parts[{k}]: {load_id!r} x {count}; name a load and 1 or more.",
            )
