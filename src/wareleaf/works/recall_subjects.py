"""What a recall can be asked about: each kind of fault in words, with the subjects known of it."""

from __future__ import annotations

from wareleaf.works.house import Works
from wareleaf.works.recall_fault import FaultKind

KIND_NAMES: dict[FaultKind, tuple[str, str]] = {
    "lot": ("A lot", "what stands on a packet or a sack"),
    "source": ("Where it grew", "a line, a field, a grower, a whole site"),
    "machine": ("A machine's hours", "a bath, a dryer, a mill, a packing bench"),
    "meter": ("A meter", "a scale or a moisture meter that read wrong"),
    "laboratory": ("A laboratory or kit", "results that cannot be trusted"),
    "film": ("A film or label", "a film, or a batch of film or labels"),
}
TIMELESS: tuple[FaultKind, ...] = ("lot",)


def subjects(works: Works, kind: FaultKind) -> list[tuple[str, str, str]]:
    """Subjects of a kind as (value, words, small words); none for a lot, which is typed."""
    settings = works.settings
    sites = {s.id: s.name for s in settings.site}
    if kind == "source":
        growers = dict.fromkeys(s.grower for s in settings.source if s.grower)
        return [
            *((s.id, s.name, s.grower) for s in settings.source),
            *((g, g, "all their lines and fields") for g in growers),
            *((i, name, "everything taken in there") for i, name in sites.items()),
        ]
    if kind == "machine":
        return [(e.id, e.name, sites[e.site]) for e in settings.equipment]
    if kind == "meter":
        return [(m.id, m.name, sites[m.site]) for m in settings.meter]
    if kind == "laboratory":
        return _judges(works)
    if kind == "film":
        return _films(works)
    return []


def _judges(works: Works) -> list[tuple[str, str, str]]:
    said = {"laboratory": "laboratory", "method": "method", "kit": "batch of a kit"}
    names = {m.id: m.name for m in works.settings.meter}
    found: dict[str, str] = {}
    for event in works.book.events_in_force(kind="result"):
        for fact, words in said.items():
            if name := str(event.facts.get(fact) or ""):
                found.setdefault(name, words)
    rank = list(said.values())
    ordered = sorted(found.items(), key=lambda f: (rank.index(f[1]), f[0].casefold()))
    return [(name, names.get(name, name), words) for name, words in ordered]


def _films(works: Works) -> list[tuple[str, str, str]]:
    said = {"film_batch": "batch of film", "label_batch": "batch of labels"}
    found: dict[str, str] = {}
    for event in works.book.events_in_force(kind="pack"):
        for fact, words in said.items():
            if batch := str(event.facts.get(fact) or ""):
                found.setdefault(batch, words)
    films = [(f.id, f.name, "film, every batch") for f in works.settings.film]
    return films + [(batch, batch, words) for batch, words in sorted(found.items())]
