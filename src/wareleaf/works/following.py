"""A machine fed all the time: when the next load may follow while the one before is still on it.

A belt moves at one speed in one air, so the next load takes over all settings but the feed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from wareleaf.book import LotState, RunState
from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.machines import fed_all_the_time
from wareleaf.works.settings import Equipment

OWN_SETTING = "feed_kg_h"
"""The only setting that may differ between loads that lie on a machine together."""

EARLY = 0.8
"""Part of the reckoned feeding time after which the floor's word is taken (our own choice)."""


def open_runs_on(works: Works, machine: Equipment) -> list[RunState]:
    """The runs that occupy a machine, first on first."""
    running = works.book.runs(site=machine.site, open_only=True)
    return sorted(
        (run for run in running if run.equipment == machine.id), key=lambda run: run.started_at
    )


def all_on_at(run: RunState, lots: Sequence[LotState]) -> datetime | None:
    """When the last leaf of a run is on the machine, from its feed; None without a feed."""
    feed_kg_h = float(run.settings.get(OWN_SETTING, 0.0))
    if feed_kg_h <= 0.0:
        return None
    mass_kg = sum(lot.remaining_mass_g for lot in lots) / 1000.0
    return run.started_at + timedelta(hours=mass_kg / feed_kg_h)


def next_from(machine: Equipment, run: RunState, lots: Sequence[LotState]) -> datetime | None:
    """When the next load may follow this run; None where the machine has to be empty first."""
    return all_on_at(run, lots) if fed_all_the_time(machine) else None


def check_room(
    works: Works,
    machine: Equipment,
    lots: Sequence[LotState],
    settings: Mapping[str, float],
    at: datetime,
) -> None:
    """Refuse a load for a machine that has no room for it.

    Raises
    ------
    BadInput
        For a busy machine; one that may be followed says what the next load needs.
    """
    for run in open_runs_on(works, machine):
        there = works.book.lots(ids=run.lots)
        names = ", ".join(run.lots)
        on_at = next_from(machine, run, there)
        if on_at is None:
            raise BadInput(
                "equipment",
                machine.id,
                f"{machine.name} is busy with {names}; take that off first.",
            )
        if {lot.leaf for lot in there} != {lot.leaf for lot in lots}:
            raise BadInput(
                "lot_ids",
                [lot.lot_id for lot in lots],
                f"{machine.name} still holds {names}, another leaf; take that off first.",
            )
        _same_settings(machine, run, settings, names)
        if at < run.started_at + EARLY * (on_at - run.started_at):
            wall = on_at.astimezone(works.settings.zone)
            raise BadInput(
                "equipment",
                machine.id,
                f"{machine.name} is being fed with {names}, by its feed until about "
                f"{wall:%H:%M}; the next load may follow then.",
            )


def _same_settings(
    machine: Equipment, run: RunState, settings: Mapping[str, float], names: str
) -> None:
    from wareleaf.works.controls import controls_of

    for control in controls_of(machine):
        was = float(run.settings.get(control.name, control.start))
        value = settings.get(control.name, control.start)
        if control.name == OWN_SETTING or abs(value - was) <= 1e-6 * max(1.0, abs(was)):
            continue
        raise BadInput(
            control.name,
            value,
            f"{control.label} is {value * control.shown_per:g} {control.unit}, but {names} is "
            f"still on {machine.name} at {was * control.shown_per:g} {control.unit}; keep that, "
            "or take it off first.",
        )
