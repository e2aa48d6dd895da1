"""What a pallet allows: packs stand on one at a time, and what stands on one leaves as a whole.

Only packed lots go on, no more than is here and on no other pallet; no more comes off than is on.
Samples and counts may take from a pallet; nothing else draws from what stands on one, and a
shipment of a pallet takes all that stands on it. An event is refused when it breaks a rule as it is
recorded, a correction when it makes itself or any other event break one that it kept before.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from wareleaf.book.event import Event
from wareleaf.book.forms import kg
from wareleaf.book.kind_facts import ITEM_LISTS
from wareleaf.book.kinds import lots_named
from wareleaf.book.lots import LotState
from wareleaf.measure.errors import BadInput

PALLET_KINDS = (*ITEM_LISTS, "ship")
_FREE = ("sample", "count", "receive_back")


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule that an event breaks at one of its lots or pallets, in a sentence."""

    at: str
    field: str
    value: object
    sentence: str


def pallets_named(event: Event) -> tuple[str, ...]:
    """Numbers of the pallets that an event builds, takes apart or ships."""
    if event.kind in ITEM_LISTS:
        return (str(event.facts["sscc"]),)
    if event.kind == "ship":
        return tuple(dict.fromkeys(event.facts.get("pallets") or ()))
    return ()


def pallets_after(lot: LotState, event: Event, mass_g: int) -> dict[str, int]:
    """Grams of a lot by pallet after some were put on one, or taken off it."""
    sscc = str(event.facts["sscc"])
    sign = 1 if event.kind == "aggregate" else -1
    after = {**lot.pallets, sscc: lot.pallets.get(sscc, 0) + sign * mass_g}
    return {k: v for k, v in after.items() if v > 0}


def check_pallets(event: Event, lots: Mapping[str, LotState]) -> None:
    """Refuse what a pallet does not allow now.

    Parameters
    ----------
    lots : mapping
        At least the lots that the event touches and, for a shipment of pallets, those on them.

    Raises
    ------
    BadInput
        With one sentence.
    """
    beside = lots if event.kind == "ship" and event.facts.get("pallets") else ()
    for found in broken_by(event, lots, beside):
        raise BadInput(found.field, found.value, found.sentence)


def broken_by(
    event: Event, lots: Mapping[str, LotState], beside: Iterable[str] = ()
) -> Iterator[Broken]:
    """Rules that an event breaks on the lots as they stand before it.

    ``beside`` names lots that may stand on a pallet that is shipped, drawn from or not.
    """
    if event.kind in ITEM_LISTS:
        yield from _on_or_off(event, lots)
    elif event.kind not in _FREE:
        yield from _drawn(event, lots, beside)


def _drawn(event: Event, lots: Mapping[str, LotState], beside: Iterable[str]) -> Iterator[Broken]:
    going = set(pallets_named(event))
    asked: dict[str, int] = defaultdict(int)
    for d in event.inputs:
        asked[d.lot_id] += d.mass_g
    for lot_id, mass_g in asked.items():
        lot = lots[lot_id]
        whole = sum(v for k, v in lot.pallets.items() if k in going)
        stays = {k: v for k, v in lot.pallets.items() if k not in going}
        loose = lot.remaining_mass_g - sum(stays.values())
        if stays and mass_g > loose:
            yield Broken(
                lot_id,
                "mass_g",
                mass_g,
                f"{kg(mass_g)} of lot {lot_id} are asked for and {kg(max(loose, 0))} stand loose; "
                f"take it off pallet {min(stays)} first, or ship the pallet as a whole.",
            )
        elif mass_g < whole:
            yield Broken(
                lot_id,
                "mass_g",
                mass_g,
                f"{kg(whole)} of lot {lot_id} stand on what is shipped and {kg(mass_g)} are asked "
                "for; a pallet ships as a whole.",
            )
    for lot_id in sorted(set(beside).difference(asked)):
        on_it = going.intersection(lots[lot_id].pallets)
        if on_it:
            sscc = min(on_it)
            yield Broken(
                lot_id,
                "inputs",
                lot_id,
                f"{kg(lots[lot_id].pallets[sscc])} of lot {lot_id} stand on pallet {sscc} and are "
                "not on the shipment; a pallet ships as a whole.",
            )
    there = {sscc for lot_id in {*asked, *beside} for sscc in lots[lot_id].pallets}
    for sscc in sorted(going - there):
        yield Broken(
            sscc,
            "pallets",
            sscc,
            f"Nothing stands on pallet {sscc} when it is shipped; leave its number out, or put on "
            "it first what it carried.",
        )


def _on_or_off(event: Event, lots: Mapping[str, LotState]) -> Iterator[Broken]:
    sscc = str(event.facts["sscc"])
    asked: dict[str, int] = defaultdict(int)
    for item in event.facts["lots"]:
        asked[item["lot_id"]] += item["mass_g"]
    for lot_id, mass_g in asked.items():
        lot = lots[lot_id]
        if event.kind == "disaggregate":
            on_it = lot.pallets.get(sscc, 0)
            if mass_g > on_it:
                yield Broken(
                    lot_id,
                    "mass_g",
                    mass_g,
                    f"{kg(mass_g)} of lot {lot_id} would come off pallet {sscc}, which has "
                    f"{kg(on_it)} of it.",
                )
        elif lot.form != "packed":
            yield Broken(
                lot_id,
                "lot_id",
                lot_id,
                f"Lot {lot_id} is {lot.form}; only packed lots go on a pallet. Pack it first.",
            )
        elif mass_g > lot.loose_g:
            yield Broken(
                lot_id,
                "mass_g",
                mass_g,
                f"{kg(mass_g)} of lot {lot_id} would go on pallet {sscc}; {kg(lot.loose_g)} are "
                "here and on no pallet.",
            )


class PalletWatch:
    """Gathers the rules that a history breaks while it is folded, by event and lot.

    Parameters
    ----------
    inside : collection of str, optional
        Lots to look at; all when left out.
    """

    def __init__(self, inside: Collection[str] | None = None):
        self.broken: dict[tuple[str, str], BadInput] = {}
        self._inside = inside
        self._on: dict[str, set[str]] = defaultdict(set)
        self._unseen: set[str] = set()  # pallets that carried a lot outside

    def before(self, event: Event, lots: Mapping[str, LotState]) -> None:
        """Look at an event on the lots as it finds them."""
        beside = {k for sscc in pallets_named(event) for k in self._on[sscc] if k in lots}
        for found in broken_by(event, lots, beside):
            if self._sees(found):
                text = (
                    f"With the correction in place, the {event.kind} {event.event_id} "
                    f"would no longer hold: {found.sentence}"
                )
                error = BadInput(found.field, found.value, text)
                self.broken.setdefault((event.event_id, found.at), error)
        inside = self._inside
        if inside is not None and not all(k in inside for k in lots_named(event)):
            self._unseen.update(pallets_named(event) if event.kind == "aggregate" else ())

    def _sees(self, found: Broken) -> bool:
        """Whether what an event breaks can be told from the lots inside."""
        if self._inside is None:
            return True
        if found.field == "pallets":
            return found.at not in self._unseen
        return found.at in self._inside

    def after(self, changed: Iterable[str], lots: Mapping[str, LotState]) -> None:
        """Follow what stands where after an event."""
        for lot_id in changed:
            if self._inside is None or lot_id in self._inside:
                for sscc in lots[lot_id].pallets:
                    self._on[sscc].add(lot_id)

    def refuse_more_than(self, earlier: PalletWatch) -> None:
        """Refuse a history that breaks a rule where the earlier one did not.

        What an older book broke already stays as it is: nothing is refused for it.

        Raises
        ------
        BadInput
            Naming the first event that would no longer hold.
        """
        for key, error in self.broken.items():
            if key not in earlier.broken:
                raise error
