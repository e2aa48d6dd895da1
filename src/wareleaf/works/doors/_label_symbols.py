"""Draw GS1 symbols and read each one back before it is given out.

zxing-cpp draws and reads offline; what it does not check - digits, dates, pairs of fields - was
checked before (`wareleaf.book.identifiers`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from wareleaf.book.identifiers import Element, bracketed, link_of, raw
from wareleaf.book.identifiers.elements import SEPARATOR
from wareleaf.measure.errors import BadInput, require

MOST_IN_BARS = 48
"""Data characters in one GS1-128 symbol (GS1 General Specifications, as noted by encoders)."""

DATA_MATRIX, BARS, QR_LINK = "gs1_datamatrix", "gs1_128", "qr_digital_link"
KINDS = (DATA_MATRIX, BARS, QR_LINK)


@dataclass(frozen=True)
class Symbol:
    """A drawn symbol: what it says, its drawing, and how a scanner announces it."""

    kind: str
    text: str
    svg: str
    symbology: str


def draw(elements: tuple[Element, ...], kind: str, root: str) -> list[Symbol]:
    """Draw the symbols of a kind; GS1-128 is split over several when it is long.

    Raises
    ------
    BadInput
        When the fields do not fit, or the drawn symbol does not read back.
    """
    for e in elements:
        require(
            kind == QR_LINK or not set(e.value) & set("()"),
            f"({e.ai})",
            e.value,
            f"({e.ai}) is {e.value!r}; brackets cannot be drawn, leave them out.",
        )
    if kind == QR_LINK:
        return [_draw_link(elements, root)]
    if kind == DATA_MATRIX:
        return [_draw_fields(elements, kind)]
    return [_draw_fields(part, kind) for part in _parts(elements)]


def _parts(elements: tuple[Element, ...]) -> Iterable[tuple[Element, ...]]:
    part: tuple[Element, ...] = ()
    for e in elements:
        if part and len(raw((*part, e))) > MOST_IN_BARS:
            yield part
            part = ()
        part = (*part, e)
        require(
            len(raw(part)) <= MOST_IN_BARS,
            f"({e.ai})",
            e.value,
            f"({e.ai}) does not fit into a GS1-128 symbol of {MOST_IN_BARS} characters; use a "
            "GS1 DataMatrix.",
        )
    yield part


def _draw_fields(elements: tuple[Element, ...], kind: str) -> Symbol:
    import zxingcpp

    format_ = (
        zxingcpp.BarcodeFormat.DataMatrix if kind == DATA_MATRIX else zxingcpp.BarcodeFormat.Code128
    )
    options = {"force_square": True} if kind == DATA_MATRIX else {}
    text = bracketed(elements)
    found = _made_and_read(text, format_, gs1=True, **options)
    seen = found.bytes.decode().removeprefix(SEPARATOR)
    good = seen == raw(elements) and found.content_type == zxingcpp.ContentType.GS1
    _require_good(good, kind, text, seen)
    return Symbol(kind, text, _svg(found), found.symbology_identifier)


def _draw_link(elements: tuple[Element, ...], root: str) -> Symbol:
    import zxingcpp

    link = link_of(elements, root)
    found = _made_and_read(link, zxingcpp.BarcodeFormat.QRCode)
    _require_good(found.text == link, QR_LINK, link, found.text)
    return Symbol(QR_LINK, link, _svg(found), found.symbology_identifier)


def _require_good(good: bool, kind: str, text: str, seen: str) -> None:
    require(good, "symbols", kind, f"The {kind} of {text} reads back as {seen!r}; not given out.")


class _Found:
    """A symbol as read back from its picture, with what it was drawn from."""

    def __init__(self, drawn: Any, seen: Any):
        self.drawn = drawn
        self.bytes: bytes = seen.bytes
        self.text: str = seen.text
        self.content_type = seen.content_type
        self.symbology_identifier: str = seen.symbology_identifier


def _made_and_read(text: str, format_: Any, **options: Any) -> _Found:
    import numpy as np
    import zxingcpp

    try:
        drawn = zxingcpp.create_barcode(text, format_, **options)
        picture = np.array(zxingcpp.write_barcode_to_image(drawn, scale=4))
    except (ValueError, RuntimeError) as error:
        raise BadInput("elements", text, f"{text} cannot be drawn: {error}.") from error
    seen = zxingcpp.read_barcodes(np.pad(picture, 40, constant_values=255))
    require(len(seen) == 1, "symbols", text, f"The symbol of {text} cannot be read back.")
    return _Found(drawn, seen[0])


def _svg(found: _Found) -> str:
    import zxingcpp

    return str(zxingcpp.write_barcode_to_svg(found.drawn))
