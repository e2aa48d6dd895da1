"""GS1 Digital Links: an element string as a web address, and back.

Source: GS1 Digital Link URI syntax, by the key rules in the GS1 Syntax Dictionary (read): the key
first, its qualifiers in their order in the path, everything else in the query.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import parse_qsl, quote, unquote

from wareleaf.book.identifiers.elements import Element, elements_of
from wareleaf.book.identifiers.table import identifiers
from wareleaf.measure.errors import BadInput, require

ROOT = "https://id.gs1.org"
_ADDRESS = re.compile(r"^https?://[^/?#\s]+(/[^?#\s]*)?$")
_LINK = re.compile(r"^(https?://[^/?#]+)(/[^?#]*)(?:\?([^#]*))?(?:#.*)?$")


def link_of(elements: Iterable[Element], root: str = ROOT) -> str:
    """The Digital Link of elements.

    Raises
    ------
    BadInput
        When no key is among them, or one cannot stand in a link.
    """
    require(
        _ADDRESS.match(root) is not None,
        "root",
        root,
        f"root is {root!r}; give an address such as https://example.com.",
    )
    left = {e.ai: e.value for e in elements}
    key = next((ai for ai in left if identifiers()[ai].key is not None), None)
    if key is None:
        raise BadInput(
            "elements", None, "A Digital Link needs a key such as (01), (00) or (414); add one."
        )
    path = f"/{key}/{quote(left.pop(key), safe='')}"
    orders = identifiers()[key].key or ((),)
    best = max(orders, key=lambda order: sum(ai in left for ai in order))
    for ai in best:
        if ai in left:
            path += f"/{ai}/{quote(left.pop(ai), safe='')}"
    wrong = [ai for ai in left if not identifiers()[ai].in_link]
    require(
        not wrong,
        "elements",
        wrong,
        f"({', '.join(wrong)}) cannot stand in a Digital Link of ({key}); leave it out.",
    )
    query = "&".join(f"{ai}={quote(value, safe='')}" for ai, value in left.items())
    return root.rstrip("/") + path + (f"?{query}" if query else "")


def read_link(text: str) -> tuple[Element, ...]:
    """Elements of a Digital Link.

    Raises
    ------
    BadInput
        When it is none, or its fields are wrong.
    """
    match = _LINK.match(text)
    wrong = f"{text!r} is no GS1 Digital Link; it looks like {ROOT}/01/09506000134352/10/A1."
    require(match is not None, "scan", text, wrong)
    assert match is not None
    steps = match[2].rstrip("/").split("/")[1:]
    start = next(
        (
            k
            for k in range(len(steps) - 2, -1, -1)
            if (len(steps) - k) % 2 == 0
            and steps[k] in identifiers()
            and identifiers()[steps[k]].key is not None
            and _follows(steps[k], steps[k + 2 :: 2])
        ),
        None,
    )
    if start is None:
        raise BadInput("scan", text, wrong)
    steps = steps[start:]
    pairs = [(ai, unquote(value)) for ai, value in zip(steps[::2], steps[1::2], strict=True)]
    if pairs[0][0] == "01":
        pairs[0] = ("01", pairs[0][1].zfill(14))
    seen = {ai for ai, _ in pairs}
    for name, value in parse_qsl(match[3] or "", keep_blank_values=True):
        if not name.isdigit():
            continue  # not a field: other parameters are allowed
        require(name not in seen, "scan", text, f"({name}) stands twice in {text!r}.")
        seen.add(name)
        pairs.append((name, value))
    return elements_of(pairs)


def _follows(key: str, qualifiers: list[str]) -> bool:
    """Whether qualifiers stand in an order that the key allows."""
    for order in identifiers()[key].key or ((),):
        places = [order.index(q) if q in order else -1 for q in qualifiers]
        if -1 not in places and places == sorted(set(places)):
            return True
    return False
