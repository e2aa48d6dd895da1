"""What there is to plan at a site: leaf that waits, leaf on machines, leaf that is announced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from wareleaf import leaf as leaves
from wareleaf.book import LotState
from wareleaf.measure.errors import BadInput
from wareleaf.works.charge import Charge, charge_of
from wareleaf.works.day import UNFINISHED
from wareleaf.works.expected import LATE, ExpectedLoad, expected
from wareleaf.works.floor import MachineView, floor
from wareleaf.works.house import Works
from wareleaf.works.plan_day.clock import DayClock
from wareleaf.works.plan_day.legs import BATCH
from wareleaf.works.predict import OUT_FORM, out_leaf
from wareleaf.works.settings import Product
from wareleaf.works.take_in import ASSUMED_MOISTURE_SD

PLANNED = ("wash", "blanch", "wither", "roll", "oxidise", "dry")
SMALLEST_KG = 1.0  # less than this is not worth a place in a plan
TOGETHER_H = 2.0  # loads of one leaf that arrive within this go on one trough
SOONEST_H = 0.25  # a load that is late is thought to be here in a quarter of an hour


@dataclass(frozen=True)
class Item:
    """A load of the plan.

    Parameters
    ----------
    kind : str
        ``waiting``, ``running`` or ``expected``.
    refs : tuple of str
        Lot ids, or ids of announcements.
    words : str
        How people call it; also its id in the plan.
    charge : Charge
        All of it together, as it is (as it went on for a running one).
    stages : tuple of str
        Still to do up to the dryer; the first of a running one is under way.
    product : Product
        The cheapest it may become.
    ready_at, cut_at : datetime
        When it came to this stage, and when its hours began to count.
    view : MachineView or None
        Of a running one.
    """

    kind: str
    refs: tuple[str, ...]
    words: str
    charge: Charge
    stages: tuple[str, ...]
    product: Product
    ready_at: datetime
    cut_at: datetime
    view: MachineView | None = None


def gather(
    works: Works, site_id: str, clock: DayClock, until_h: float
) -> tuple[list[Item], list[str]]:
    """Everything to plan at a site, and sentences about what is left out."""
    left_out: list[str] = []
    items = [*_running(works, site_id, left_out), *_waiting(works, site_id, left_out)]
    now = works.now()
    coming = expected(works, site_id, now - LATE, clock.at(until_h))
    items += [item for x in coming if (item := expected_item(works, x, left_out)) is not None]
    return _unique(_together(works, items)), left_out


def stages_left(
    works: Works, site_id: str, leaf: str, form: str
) -> list[tuple[Product, tuple[str, ...]]]:
    """Products of a site that leaf in a form may become, with the stages still to do to dryness."""
    found = []
    for product in works.settings.product:
        if product.site != site_id:
            continue
        route = _perishable(product.route)
        at_form, at_leaf = "fresh", leaf
        rest: tuple[str, ...] | None = None
        for k, stage in enumerate(route):
            if rest is None and at_form == form:
                rest = tuple(route[k:])
            if rest is not None:
                at_leaf = out_leaf(stage, at_leaf)
            at_form = OUT_FORM[stage]
        if rest and at_leaf == product.leaf:
            found.append((product, rest))
    return found


def _perishable(route: Sequence[str]) -> list[str]:
    """The stages up to the last dryer, or all that handle wet leaf where there is none."""
    last = max((k for k, s in enumerate(route) if s == "dry"), default=len(route) - 1)
    return [s for s in route[: last + 1] if s in PLANNED]


def cheapest(
    works: Works, site_id: str, leaf: str, form: str, product_id: str = ""
) -> tuple[Product, tuple[str, ...]] | None:
    """The product a leaf is planned for: the one it is meant for, else the cheapest."""
    found = stages_left(works, site_id, leaf, form)
    meant = [f for f in found if f[0].id == product_id]
    return min(meant or found, key=lambda f: f[0].price_per_kg, default=None)


def _waiting(works: Works, site_id: str, left_out: list[str]) -> list[Item]:
    items = []
    for lot in works.book.lots(site=site_id, form=UNFINISHED, in_stock_only=True):
        if lot.on_runs or lot.remaining_mass_g < SMALLEST_KG * 1000.0:
            continue
        if lot.held_because:
            left_out.append(f"{lot.lot_id} is on hold and not planned: {lot.held_because}.")
            continue
        way = cheapest(works, site_id, lot.leaf, lot.form, str(lot.attributes.get("product", "")))
        if way is None:
            left_out.append(f"{lot.lot_id} ({lot.form} {lot.leaf}) fits no product of this site.")
            continue
        product, stages = way
        items.append(
            Item(
                kind="waiting",
                refs=(lot.lot_id,),
                words=lot.lot_id,
                charge=charge_of([lot], works.now()),
                stages=stages,
                product=product,
                ready_at=lot.made_at,
                cut_at=_counts_from(lot),
            )
        )
    return items


def _counts_from(lot: LotState) -> datetime:
    """When the hours of a lot began: at the cut, or when its last stage ended."""
    cut = lot.attributes.get("cut_at")
    return datetime.fromisoformat(str(cut)) if cut else lot.made_at


def _running(works: Works, site_id: str, left_out: list[str]) -> list[Item]:
    items = []
    for view in floor(works, site_id):
        run, stage = view.run, view.machine.stage
        if run is None or stage not in PLANNED or not view.lots:
            continue
        first = view.lots[0]
        way = cheapest(
            works, site_id, first.leaf, first.form, str(first.attributes.get("product", ""))
        )
        names = "+".join(lot.lot_id for lot in view.lots)
        if way is None or stage not in way[1] or view.mass_kg <= 0.0:
            left_out.append(f"{names} on {view.machine.name} is not on the way to any product.")
            continue
        product, stages = way
        items.append(
            Item(
                kind="running",
                refs=tuple(lot.lot_id for lot in view.lots),
                words=names,
                charge=charge_of(view.lots, run.started_at),
                stages=stages[stages.index(stage) :],
                product=product,
                ready_at=run.started_at,
                cut_at=min(_counts_from(lot) for lot in view.lots),
                view=view,
            )
        )
    return items


def expected_item(works: Works, load: ExpectedLoad, left_out: list[str]) -> Item | None:
    """An announced load as an item; None, with a sentence, when nothing is made of such leaf."""
    way = cheapest(works, load.site, load.leaf, "fresh")
    if way is None:
        left_out.append(f"{load.name}: no product of this site is made of {load.leaf}.")
        return None
    product, stages = way
    haul = timedelta(hours=works.settings.source_of(load.source).haul_h)
    ready = max(load.arrives_at, works.now() + timedelta(hours=SOONEST_H))
    return Item(
        kind="expected",
        refs=(load.expected_id,),
        words=f"{load.name}, {load.arrives_at:%a %H:%M}",
        charge=Charge(
            load.leaf,
            load.mass_kg,
            leaves.profile(load.leaf).moisture_wb_fresh,
            ASSUMED_MOISTURE_SD,
            haul.total_seconds() / 3600.0,
        ),
        stages=stages,
        product=product,
        ready_at=ready,
        cut_at=min(load.arrives_at, ready) - haul,
    )


def _together(works: Works, items: list[Item]) -> list[Item]:
    """Small loads of one leaf that come at about the same time go on one batch machine."""
    joined: list[Item] = []
    for item in sorted(items, key=lambda i: (i.kind, i.charge.leaf_id, i.ready_at, i.words)):
        room = _batch_kg(works, item)
        last = joined[-1] if joined else None
        if last is not None and room is not None and _joins(last, item, room):
            joined[-1] = _joined(last, item)
        else:
            joined.append(item)
    return joined


def _batch_kg(works: Works, item: Item) -> float | None:
    stage = item.stages[0]
    if item.kind == "running" or stage not in BATCH:
        return None
    return max(
        (
            m.capacity_kg
            for m in works.settings.equipment
            if m.site == item.product.site and m.stage == stage and m.capacity_kg is not None
        ),
        default=None,
    )


def _joins(last: Item, item: Item, room_kg: float) -> bool:
    alike = (last.kind, last.charge.leaf_id, last.stages, last.product.id) == (
        item.kind,
        item.charge.leaf_id,
        item.stages,
        item.product.id,
    )
    near = item.ready_at - last.ready_at <= timedelta(hours=TOGETHER_H)
    return (
        alike
        and (near or item.kind == "waiting")
        and last.charge.mass_kg + item.charge.mass_kg <= room_kg
    )


def _joined(one: Item, two: Item) -> Item:
    a, b = one.charge, two.charge
    mass = a.mass_kg + b.mass_kg
    dry = a.mass_kg * (1.0 - a.moisture_wb) + b.mass_kg * (1.0 - b.moisture_wb)
    variance = (a.mass_kg * a.moisture_sd) ** 2 + (b.mass_kg * b.moisture_sd) ** 2
    return replace(
        one,
        refs=(*one.refs, *two.refs),
        words=f"{one.words} + {two.words}",
        charge=Charge(
            a.leaf_id,
            mass,
            1.0 - dry / mass,
            variance**0.5 / mass,
            max(a.hours_since_cut, b.hours_since_cut),
        ),
        ready_at=max(one.ready_at, two.ready_at),
        cut_at=min(one.cut_at, two.cut_at),
    )


def _unique(items: list[Item]) -> list[Item]:
    seen: dict[str, int] = {}
    named = []
    for item in items:
        seen[item.words] = seen.get(item.words, 0) + 1
        count = seen[item.words]
        named.append(item if count == 1 else replace(item, words=f"{item.words} ({count})"))
    return named


def require_site_machines(works: Works, site_id: str) -> None:
    """Refuse a site without machines for wet leaf.

    Raises
    ------
    BadInput
        When there are none.
    """
    site = works.settings.site_of(site_id)
    if not any(m.site == site_id and m.stage in PLANNED for m in works.settings.equipment):
        raise BadInput(
            "site",
            site_id,
            f"{site.name} has no machine for wet leaf; add machines to the settings to plan.",
        )
