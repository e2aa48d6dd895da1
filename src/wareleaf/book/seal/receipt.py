"""A receipt: the events of a lot and of all it was made of, proved to be in a signed book.

It can be checked with the book's public key alone, without the book and without a network. The
proofs are those of RFC 6962; each can be written as a C2SP tlog-proof as well.

What a receipt shows: these events stood in the book when the checkpoint was signed, word for word.
What it does not: that they are true, or that no other event speaks of the lot (a later correction,
say). A newer receipt, or the consistency of two checkpoints, tells more.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wareleaf.book import tree
from wareleaf.book.chain import canonical_json
from wareleaf.book.corrections import effective
from wareleaf.book.event import JSON, Event, event_from_json
from wareleaf.book.kinds import lots_touched
from wareleaf.book.seal.checkpoint import Checkpoint, TreeLevels, opened
from wareleaf.book.seal.note import Verifier
from wareleaf.book.seal.tiles import TileTree
from wareleaf.book.tracing import Trace, edges_of, trace_back
from wareleaf.measure.errors import BadInput, require

FORMAT = "wareleaf receipt 1"
CONSISTENCY = "wareleaf consistency 1"


@dataclass(frozen=True)
class Proved:
    """What a receipt proves.

    Parameters
    ----------
    lot_id : str
        The lot; empty for a receipt of single events.
    checkpoint : Checkpoint
        The book it stands in.
    events : tuple of (int, Event)
        Place in the book, from 1, and the event as recorded.
    trace : Trace or None
        Where the lot came from, from the events of the receipt with corrections in place.
    gaps : tuple of str
        Lots that were drawn from, but whose making is not in the receipt.
    """

    lot_id: str
    checkpoint: Checkpoint
    events: tuple[tuple[int, Event], ...]
    trace: Trace | None
    gaps: tuple[str, ...]


def make_receipt(
    lot_id: str,
    events: Iterable[tuple[int, Event]],
    levels: TreeLevels | TileTree,
    checkpoint_note: str,
) -> dict[str, JSON]:
    """A receipt of events.

    Parameters
    ----------
    lot_id : str
        The lot it is about; empty for single events.
    events : iterable of (int, Event)
        Place in the book, from 1, and the event.
    levels : TreeLevels or TileTree
        The tree of the size that the checkpoint signs.
    checkpoint_note : str
        The signed checkpoint.
    """
    proved = [
        {
            "index": sequence - 1,
            "event": canonical_json(event).decode(),
            "path": [base64.b64encode(h).decode() for h in levels.path(sequence - 1)],
        }
        for sequence, event in events
    ]
    return {"format": FORMAT, "lot": lot_id, "checkpoint": checkpoint_note, "events": proved}


def tlog_proof(item: Mapping[str, Any], checkpoint_note: str) -> str:
    """One event's proof as a C2SP tlog-proof."""
    path = "".join(f"{h}\n" for h in item["path"])
    return f"c2sp.org/tlog-proof@v1\nindex {item['index']}\n{path}\n{checkpoint_note}"


def check_receipt(receipt: Mapping[str, Any], verifiers: Iterable[Verifier]) -> Proved:
    """Check a receipt with public keys alone.

    Raises
    ------
    BadInput
        Saying what does not hold: the signature, or which event.
    """
    _require_format(receipt, FORMAT, "a receipt")
    checkpoint = opened(_text(receipt, "checkpoint"), verifiers)
    items = receipt.get("events")
    require(isinstance(items, list) and bool(items), "events", None, "The receipt has no events.")
    assert isinstance(items, list)
    proved = tuple(_check_one(item, checkpoint) for item in items)
    places = [n for n, _ in proved]
    require(
        places == sorted(set(places)),
        "events",
        None,
        "The events of the receipt are not in the order of the book.",
    )
    lot_id = str(receipt.get("lot", ""))
    if not lot_id:
        return Proved("", checkpoint, proved, None, ())
    return _about_lot(lot_id, checkpoint, proved)


def _check_one(item: Any, checkpoint: Checkpoint) -> tuple[int, Event]:
    try:
        index, body = item["index"], item["event"]
        path = [base64.b64decode(h, validate=True) for h in item["path"]]
        require(
            isinstance(index, int) and isinstance(body, str), "events", None, "No place, no event."
        )
        event = event_from_json(json.loads(body))
    except (KeyError, TypeError, ValueError, binascii.Error) as error:
        raise BadInput(
            "events", None, f"An event of the receipt cannot be read: {error!r}."
        ) from error
    leaf = tree.leaf_hash(body.encode())
    holds = tree.verify_inclusion(leaf, index, checkpoint.size, path, checkpoint.root)
    require(
        holds,
        f"events.{index}",
        event.event_id,
        f"Event {event.event_id} at place {index + 1} is not what stands in the signed book: it "
        "was changed, or the proof belongs to another book.",
    )
    return index + 1, event


def _about_lot(
    lot_id: str, checkpoint: Checkpoint, proved: tuple[tuple[int, Event], ...]
) -> Proved:
    current, _ = effective([e for _, e in proved])
    made = {m.lot_id: m for e in current for m in e.outputs}
    require(
        lot_id in made,
        "lot",
        lot_id,
        f"The receipt is said to be of lot {lot_id}, but no event in it makes that lot.",
    )
    edges = [edge for e in current for edge in edges_of(e)]
    trace = trace_back(edges, lot_id, made[lot_id].dry_g)
    gaps = tuple(n.lot_id for n in trace.nodes if n.lot_id not in made)
    return Proved(lot_id, checkpoint, proved, trace, gaps)


def events_of_lot(
    lot_ids: Iterable[str], events: Iterable[tuple[int, Event]]
) -> list[tuple[int, Event]]:
    """Events that speak of some lots, with the corrections of those events."""
    wanted, kept = set(lot_ids), set()
    found = []
    for sequence, event in events:
        if wanted & set(lots_touched(event)) or event.corrects in kept:
            kept.add(event.event_id)
            found.append((sequence, event))
    return found


def make_consistency(older_note: str, newer_note: str, proof: Sequence[bytes]) -> dict[str, JSON]:
    """A proof that a newer signed book begins with an older one.

    Parameters
    ----------
    older_note, newer_note : str
        The signed checkpoints.
    proof : sequence of bytes
        Of consistency between them (RFC 6962 section 2.1.2).
    """
    return {
        "format": CONSISTENCY,
        "older": older_note,
        "newer": newer_note,
        "path": [base64.b64encode(h).decode() for h in proof],
    }


def check_consistency(
    data: Mapping[str, Any], verifiers: Iterable[Verifier]
) -> tuple[Checkpoint, Checkpoint]:
    """Check that a newer book begins with an older one; both checkpoints.

    Raises
    ------
    BadInput
        When it does not, or a signature does not hold.
    """
    _require_format(data, CONSISTENCY, "a proof of consistency")
    trusted = tuple(verifiers)
    older = opened(_text(data, "older"), trusted)
    newer = opened(_text(data, "newer"), trusted)
    try:
        path = [base64.b64decode(h, validate=True) for h in data["path"]]
    except (KeyError, TypeError, ValueError, binascii.Error) as error:
        raise BadInput("path", None, "The proof cannot be read.") from error
    holds = older.origin == newer.origin and tree.verify_consistency(
        older.size, newer.size, older.root, newer.root, path
    )
    require(
        holds,
        "path",
        newer.size,
        f"The book of {newer.size} events does not begin with the signed book of {older.size}: its "
        "past was changed in between.",
    )
    return older, newer


def _require_format(data: Mapping[str, Any], wanted: str, what: str) -> None:
    require(
        data.get("format") == wanted,
        "format",
        data.get("format"),
        f"This is not {what} of a known form; its format must be {wanted!r}.",
    )


def _text(data: Mapping[str, Any], name: str) -> str:
    value = data.get(name)
    require(isinstance(value, str), name, None, f"The field {name} is missing.")
    assert isinstance(value, str)
    return value
