"""The cautions that go with a lot, local codes first (see docs/understand/cautions.md)."""

from __future__ import annotations

from collections.abc import Collection

_ALL = (
    "Local codes and licensed practice come first; where this paper and they differ, follow them. "
    "No authority has checked what stands here.",
    "A result of a model is never a release. A lot goes out only when a person with the right role "
    "has released it, on measurements. A limit that was not read in the act only warns.",
    "Dried leaf is kept from mould by its water activity, not by its moisture alone. Drying lowers "
    "microbial counts and does not remove them; toxins and spores stay.",
)
_KELP = (
    "Iodine: kelp can hold thousands of mg per kg dry matter, so that a gram may pass the daily "
    "upper intake. Compare limits only on the same basis (dry, wet, as eaten), and label as the "
    "market's law asks.",
    "Cadmium, lead, mercury and inorganic arsenic are measured, never computed; blanching does not "
    "remove the first three.",
    "Allergens: small crustaceans, molluscs and fish come in with seaweed. Declare or advise as "
    "the law of the market asks; washing, blanching and drying do not remove an allergen.",
)
_TEA = (
    "Tea is not a sterilised food. Pesticide residues and, in places, iron filings have legal "
    "limits; they are measured, never computed.",
    "Allergens: works that flavour or blend bring in others (milk, nuts, gluten). Keep them apart "
    "and declare as the law of the market asks.",
)
_BLANCH = (
    "Blanching is not a sterilisation. A log reduction that a model shows assumes the middle of a "
    "single blade and is not a validated kill step.",
)
_FINE = (
    "Fine dry leaf is a dust that can explode in a mill, a filter or a bin: keep off ignition and "
    "follow the local explosion code.",
)


def cautions_for(crop: str, form: str, stages: Collection[str]) -> tuple[str, ...]:
    """What to say with a lot of a crop in a form that went through some stages."""
    said = [*_ALL, *(_TEA if crop == "tea" else _KELP)]
    if "blanch" in stages:
        said.extend(_BLANCH)
    if form in ("flake", "powder") or "mill" in stages:
        said.extend(_FINE)
    return tuple(said)
