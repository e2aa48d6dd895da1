"""What reconciliation found, in words: which booked number does not fit, and what was checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.book import Event, kg
from wareleaf.book.reconcile import GlobalTest, Meaning, Quantity, Suspect


@dataclass(frozen=True)
class Doubt:
    """A booked number that does not fit.

    Parameters
    ----------
    what : str
        ``lot``: what a lot was booked with; ``draw``: what was drawn from it; ``loss``: a booked
        loss; ``gap``: what an event leaves unexplained (booked as nothing).
    lot_id, event_id : str
        Where it stands; for a loss and a gap the first lot that was drawn from.
    at, place : datetime, str
        When and where it was booked to have happened.
    quantity : str
        ``dry`` matter or ``mass``.
    booked_g, fitted_g, sd_g : float
        What was booked, what fits all the rest, and the standard uncertainty of that. A gap that
        is fitted below 0 came from nowhere.
    suspect : Suspect
        Tests, and what it cannot be told from.
    alike_lots, alike_events : tuple of str
        Other lots and events whose number it may as well be.
    sentence : str
        For people.
    """

    what: str
    lot_id: str
    event_id: str
    at: datetime
    place: str
    quantity: Quantity
    booked_g: float
    fitted_g: float
    sd_g: float
    suspect: Suspect
    alike_lots: tuple[str, ...]
    alike_events: tuple[str, ...]
    sentence: str


def doubt_of(
    quantity: Quantity,
    booked: Mapping[str, float],
    suspect: Suspect,
    meanings: Mapping[str, Meaning],
    events: Mapping[str, Event],
) -> Doubt:
    """A suspect in words.

    Parameters
    ----------
    quantity : str
        ``dry`` or ``mass``.
    booked : mapping
        Booked grams by stream.
    suspect : Suspect
        The stream that does not fit.
    meanings : mapping
        What each stream is in the book.
    events : mapping
        The events of the stretch by id.
    """
    meaning = meanings[suspect.name]
    event = events[meaning.event_id]
    fitted_g = booked[suspect.name] - suspect.error
    if meaning.what == "gap":
        words = _gap(quantity, fitted_g, suspect.error_sd, event)
    else:
        words = (
            f"{_subject(quantity, meaning, event)}, {kg(booked[suspect.name])}, does not fit: all "
            f"the rest says {kg(fitted_g)} ± {kg(suspect.error_sd)} (1 sd)."
        )
    others = [meanings[name] for name in suspect.alike]
    if others:
        said = [_short(m, events[m.event_id]) for m in others]
        words += f" The balances cannot tell it from {_listed(said)}; look at each."
    lot_id = meaning.lot_id or event.inputs[0].lot_id
    lots = dict.fromkeys(m.lot_id for m in others if m.lot_id not in ("", lot_id))
    return Doubt(
        meaning.what,
        lot_id,
        meaning.event_id,
        event.happened_at,
        event.place,
        quantity,
        booked[suspect.name],
        fitted_g,
        suspect.error_sd,
        suspect,
        tuple(lots),
        tuple(dict.fromkeys(m.event_id for m in others)),
        words,
    )


def summary(what: str, test: GlobalTest, counts: Mapping[str, int], doubts: Sequence[Doubt]) -> str:
    """The global test in a sentence."""
    if test.dof == 0:
        return f"{what}: nothing was measured twice, so nothing could be checked."
    wrong = len(doubts)
    words = "they fit" if not wrong else f"{wrong} {'does' if wrong == 1 else 'do'} not fit"
    return (
        f"{what}: {counts.get('redundant', 0)} numbers check each other in {test.dof} ways; "
        f"{words} (chance of as much by scatter alone: {_chance(test.p_value)})."
    )


def _chance(p_value: float) -> str:
    if p_value < 0.001:
        return "below 0.1 %"
    return f"{100.0 * p_value:.{0 if p_value > 0.1 else 1}f} %"


def told_apart(
    what: str, test: GlobalTest, counts: Mapping[str, int], doubts: Sequence[Doubt]
) -> str:
    """What nothing checks, what follows from the others, and what nobody can say."""
    del test, doubts
    return (
        f"{what}: {counts.get('nonredundant', 0)} weighed but checked by nothing, "
        f"{counts.get('observable', 0)} not weighed but given by the balances, "
        f"{counts.get('unobservable', 0)} that nobody can say."
    )


_AMOUNT: dict[Quantity, str] = {"dry": "dry matter", "mass": "mass"}


def _subject(quantity: Quantity, meaning: Meaning, event: Event) -> str:
    amount = _AMOUNT[quantity]
    if meaning.what == "lot":
        return f"The {amount} booked on lot {meaning.lot_id}"
    if meaning.what == "draw":
        return f"The {amount} drawn from lot {meaning.lot_id}"
    return f"The {amount} booked as {meaning.stream} in {_deed(event)}"


def _gap(quantity: Quantity, fitted_g: float, sd_g: float, event: Event) -> str:
    deed = _deed(event)
    amount = f"{kg(abs(fitted_g))} ± {kg(sd_g)} (1 sd) of {_AMOUNT[quantity]}"
    if fitted_g > 0:
        return (
            f"{amount} went missing in {deed}: spilt, not written down, or more than one of its "
            "weights is wrong."
        )
    return f"{amount} too much came out of {deed}: something was put in that is not written down."


def _short(meaning: Meaning, event: Event) -> str:
    if meaning.what == "gap":
        return f"leaf that was spilt or not written down in {_deed(event)}"
    if meaning.what == "loss":
        return f"the {meaning.stream} in {_deed(event)}"
    return f"what was {'booked on' if meaning.what == 'lot' else 'drawn from'} {meaning.lot_id}"


def _deed(event: Event) -> str:
    """An event as people call it."""
    lots = [d.lot_id for d in event.inputs]
    more = f" and {len(lots) - 2} more" if len(lots) > 2 else ""
    words = {"stage_finished": "the stage", "split": "the split", "combine": "the combining"}
    deed = words.get(event.kind, f"the {event.kind.replace('_', ' ')}")
    return f"{deed} of {' and '.join(lots[:2]) if not more else ', '.join(lots[:2])}{more}"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
