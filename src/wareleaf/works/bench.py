"""The bench: take a sample, record what the laboratory found, see what waits for a result."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches

from wareleaf.book import Draw, Event, Stream
from wareleaf.measure.errors import BadInput, require
from wareleaf.release import Result, all_limits
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, new_token, record

ALIKE = 0.85
"""Likeness of two words, 0 to 1, from which one is taken for a slip of the other (our own choice:
one letter in six)."""


@dataclass(frozen=True)
class Found:
    """One result as the laboratory reports it.

    Parameters
    ----------
    parameter, value, standard_uncertainty, unit, basis
        As in `wareleaf.release.Result`; fractions for moisture.
    moisture_wb : float or None
        Of the sample when it was analysed.
    below_loq : bool
        Reported as "less than ``value``".
    method, laboratory : str
        How and by whom.
    kit : str
        Batch of the test kit or reagent, so that what a bad one judged can be found.
    """

    parameter: str
    value: float
    standard_uncertainty: float
    unit: str
    basis: str = "dry"
    moisture_wb: float | None = None
    below_loq: bool = False
    method: str = ""
    laboratory: str = "own bench"
    kit: str = ""


@dataclass(frozen=True)
class WaitingSample:
    """A sample nobody has reported on yet."""

    sample_id: str
    lot_id: str
    taken_at: datetime
    who: str


def take_sample(
    works: Works,
    who: str,
    lot_id: str,
    mass_g: int,
    *,
    at: datetime | None = None,
    document: str = "",
    note: str = "",
) -> str:
    """Take a sample out of a lot; its mass leaves the lot. Returns the sample number."""
    lot = works.book.lot(lot_id)
    acting(works, who, "record a reading", lot.site)
    require(
        0 < mass_g <= lot.remaining_mass_g,
        "mass_g",
        mass_g,
        f"mass_g is {mass_g}; lot {lot_id} holds {lot.remaining_mass_g} g to sample from.",
    )
    sample_id = f"S-{new_token(3).upper()}"
    dry_g = round(mass_g * (1.0 - lot.moisture_wb))
    record(
        works,
        Entry(
            kind="sample",
            site=lot.site,
            who=who,
            place=lot.place,
            why=note,
            document=document,
            happened_at=at,
            inputs=(Draw(lot_id, mass_g, dry_g),),
            streams=(Stream("sample", mass_g, dry_g),),
            facts={"lot_id": lot_id, "sample_id": sample_id, "mass_g": mass_g},
        ),
    )
    return sample_id


def record_result(
    works: Works,
    who: str,
    lot_id: str,
    sample_id: str,
    found: Found,
    *,
    at: datetime | None = None,
    document: str = "",
    note: str = "",
    sampled_here: bool = True,
) -> Event:
    """Record one laboratory result on a lot.

    ``sampled_here`` is False for a sample that was taken before the book was kept, so that the
    book may have no entry of it; one that the book took out of another lot is refused either way.

    Raises
    ------
    BadInput
        For a value that cannot be a result, an unknown lot, a sample that was not taken out of it,
        or a person who may not.
    """
    lot = works.book.lot(lot_id)
    acting(works, who, "record a result", lot.site)
    _check_sample(works, lot_id, sample_id, sampled_here)
    _check_name(found.parameter)
    if found.moisture_wb is not None and not 0.0 <= found.moisture_wb < 1.0:
        raise BadInput(
            "moisture_wb",
            found.moisture_wb,
            f"moisture_wb is {found.moisture_wb:.1%}; it must be from 0 to under 100 %.",
        )
    as_result(found)
    facts = {
        "lot_id": lot_id,
        "sample_id": sample_id,
        "parameter": found.parameter,
        "value": found.value,
        "standard_uncertainty": found.standard_uncertainty,
        "unit": found.unit,
        "basis": found.basis,
        "moisture_wb": found.moisture_wb,
        "below_loq": found.below_loq,
        "method": found.method,
        "laboratory": found.laboratory,
        **({"kit": found.kit.strip()} if found.kit.strip() else {}),
    }
    return record(
        works,
        Entry(
            kind="result",
            site=lot.site,
            who=who,
            why=note,
            happened_at=at,
            document=document,
            facts=facts,
        ),
    )


def _check_sample(works: Works, lot_id: str, sample_id: str, sampled_here: bool) -> None:
    """A result of another lot's sample could release the wrong lot."""
    taken = works.book.events_in_force(kind="sample", lot_id=lot_id)
    own = [str(e.facts["sample_id"]) for e in taken]
    if sample_id in own:
        return
    others = works.book.events_in_force(kind="sample")
    of = next((e.facts["lot_id"] for e in others if e.facts["sample_id"] == sample_id), None)
    if of is None and not sampled_here:
        return
    why = f"Sample {sample_id} was taken out of {of}" if of else f"There is no sample {sample_id}"
    then = (
        f"the samples of {lot_id} are: {', '.join(own)}" if own else f"take one of {lot_id} first"
    )
    raise BadInput("sample_id", sample_id, f"{why}; {then}.")


def _check_name(parameter: str) -> None:
    """What is misspelt would be kept, and no limit would ever read it."""
    known = {limit.parameter for limit in all_limits()} | {"moisture"}
    if parameter in known:
        return
    meant = get_close_matches(parameter.strip().casefold().replace(" ", "_"), known, 1, ALIKE)
    if meant:
        raise BadInput(
            "parameter",
            parameter,
            f"No limit is for {parameter!r}; is it {meant[0]}? Type it so, or a name of its own.",
        )


def as_result(found: Found, reference: str = "") -> Result:
    """The result in the form release decisions take."""
    return Result(
        parameter=found.parameter,
        value=found.value,
        standard_uncertainty=found.standard_uncertainty,
        unit=found.unit,
        basis=found.basis,
        moisture_wb=found.moisture_wb,
        below_loq=found.below_loq,
        reference=reference or found.laboratory,
    )


def results_of(works: Works, lot_id: str) -> list[tuple[str, Result, Event]]:
    """Results on a lot and on the lots it was made of, nearest first, as (lot, result, event).

    A result on a parent speaks for a child only where the leaf was not changed by a stage in
    between; blanching and blending change composition, so the walk stops there. Where lots went
    in together, a parameter speaks for the child only when every one of them has it.
    """
    return [found for _, found in _speaking(works, lot_id, {})]


_Spoken = tuple[int, tuple[str, Result, Event]]  # steps back, then what `results_of` gives


def _speaking(works: Works, lot_id: str, seen: dict[str, list[_Spoken]]) -> list[_Spoken]:
    """Of a lot whose parents were asked before, what ``seen`` holds."""
    if lot_id not in seen:
        own = works.book.events_in_force(kind="result", lot_id=lot_id)
        found: list[_Spoken] = [(0, (lot_id, _result_of(e, lot_id), e)) for e in own]
        made = works.book.event_in_force(works.book.lot(lot_id).made_by)
        if _keeps_composition(made):
            lots = dict.fromkeys(d.lot_id for d in made.inputs)
            found += _of_all([_speaking(works, lot, seen) for lot in lots])
        seen[lot_id] = found
    return seen[lot_id]


def _of_all(parents: list[list[_Spoken]]) -> list[_Spoken]:
    """Results on parameters that every parent has, nearest first, each once."""
    shared = set.intersection(*({f[1].parameter for _, f in each} for each in parents))
    above: dict[str, _Spoken] = {}
    for back, result in sorted((s for each in parents for s in each), key=lambda s: s[0]):
        if result[1].parameter in shared:
            above.setdefault(result[2].event_id, (back + 1, result))
    return list(above.values())


def _keeps_composition(event: Event) -> bool:
    if event.kind == "stage_finished":
        return event.facts.get("stage") in _KEEPS_COMPOSITION
    return event.kind in ("split", "pack")


_KEEPS_COMPOSITION = ("dry", "mill", "sift")


def _result_of(event: Event, lot_id: str) -> Result:
    facts = event.facts
    return Result(
        parameter=facts["parameter"],
        value=float(facts["value"]),
        standard_uncertainty=float(facts["standard_uncertainty"]),
        unit=facts["unit"],
        basis=facts["basis"],
        moisture_wb=facts.get("moisture_wb"),
        below_loq=bool(facts.get("below_loq", False)),
        reference=f"{facts.get('laboratory', '')} {facts['sample_id']}".strip(),
        lot_id=lot_id,
    )


def waiting(works: Works, site: str | None = None) -> list[WaitingSample]:
    """Samples without a result, oldest first."""
    results = works.book.events_in_force(kind="result", site=site)
    reported = {event.facts["sample_id"] for event in results}
    return [
        WaitingSample(event.facts["sample_id"], event.facts["lot_id"], event.happened_at, event.who)
        for event in works.book.events_in_force(kind="sample", site=site)
        if event.facts["sample_id"] not in reported
    ]
