"""GS1 labels: fields to DataMatrix, GS1-128 and QR, read back; or what a scanned label says."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal, Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.book.identifiers import Element


class Input(DoorInput):
    """Fields by Application Identifier, or a scan."""

    elements: dict[str, str] | None = Field(
        None,
        description="Values by Application Identifier, such as 01 (GTIN), 10 (lot), 15 (best "
        "before, YYMMDD), 3103 (net weight in g, six digits).",
    )
    scan: str | None = Field(
        None,
        max_length=2000,
        description="What a scanner gave, a Digital Link, or an element string with brackets.",
    )
    symbols: list[Literal["gs1_datamatrix", "gs1_128", "qr_digital_link"]] = Field(
        default_factory=list, description="Symbols to draw as SVG, each read back."
    )
    digital_link_root: str = Field(
        "https://id.gs1.org", description="Your own address, if it resolves Digital Links."
    )
    year: int | None = Field(
        None, ge=2000, le=2100, description="Present year, for dates of two digits; else today's."
    )

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.elements is None) == (self.scan is None):
            raise ValueError("give exactly one of elements and scan")
        return self


class FieldOut(DoorInput):
    """One field; ``meaning`` is a date in full or a weight in kg."""

    ai: str
    title: str
    value: str
    meaning: str | float | None


class SymbolOut(DoorInput):
    """A drawn symbol; ``symbology`` is what a scanner puts in front."""

    kind: str
    text: str
    svg: str
    symbology: str
    reads_back: bool


class Output(DoorOutput):
    """The label for people and for machines."""

    fields: list[FieldOut]
    element_string: str
    raw: str
    digital_link: str | None
    symbols: list[SymbolOut]


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.book.identifiers import bracketed, elements_of, raw, scanned
    from wareleaf.works.doors import _label_symbols

    if data.elements is not None:
        elements = elements_of(data.elements)
    else:
        assert data.scan is not None
        elements = scanned(data.scan)
    year = data.year if data.year is not None else datetime.now(UTC).year
    return Output(
        fields=[
            FieldOut(ai=e.ai, title=e.title, value=e.value, meaning=e.meaning(year))
            for e in elements
        ],
        element_string=bracketed(elements),
        raw=raw(elements),
        digital_link=_link(elements, data.digital_link_root),
        symbols=[
            SymbolOut(kind=s.kind, text=s.text, svg=s.svg, symbology=s.symbology, reads_back=True)
            for kind in dict.fromkeys(data.symbols)
            for s in _label_symbols.draw(elements, kind, data.digital_link_root)
        ],
        sources=[
            "GS1 Barcode Syntax Dictionary (GS1, BWIPP and Zint projects; Apache-2.0; ff2eb4b): "
            "fields, contents and pairs.",
            "GS1 Digital Link URI syntax.",
        ],
        warnings=_warnings(elements),
    )


def _link(elements: tuple[Element, ...], root: str) -> str | None:
    from wareleaf.book.identifiers import identifiers, link_of

    keyed = any(identifiers()[e.ai].key is not None for e in elements)
    fits = all(
        identifiers()[e.ai].in_link or identifiers()[e.ai].key is not None or e.ai in _QUALIFIERS
        for e in elements
    )
    return link_of(elements, root) if keyed and fits else None


_QUALIFIERS = ("21", "22", "235", "254", "8019")


def _warnings(elements: tuple[Element, ...]) -> list[str]:
    found = []
    names = {e.ai for e in elements}
    if "01" in names and "10" not in names and "21" not in names:
        found.append("The label names a product but no lot: it cannot be traced.")
    if names & {"01", "02", "00", "414"}:
        found.append(
            "Whether the company prefix is yours cannot be checked here; use keys that your GS1 "
            "organisation gave you."
        )
    return found
