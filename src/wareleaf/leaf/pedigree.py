"""What a profile's numbers rest on, in sentences for screens, reports and doors."""

from __future__ import annotations

from collections import Counter

from wareleaf.leaf.catalogue import PACKAGE
from wareleaf.leaf.models import MODELS
from wareleaf.leaf.profiles import LeafProfile
from wareleaf.leaf.salt import KCL, NACL
from wareleaf.measure import Evidence, Figure, Source, read_sources

_WORDS = {
    Evidence.READ: "read in their source",
    Evidence.SECONDARY: "from an abstract or a copy",
    Evidence.DERIVED: "derived from named sources",
    Evidence.MEMORY: "recalled from memory",
    Evidence.PRACTICE: "common practice",
    Evidence.DEMO: "set by us",
}


def source_of(figure: Figure) -> Source:
    """The work a figure was taken from."""
    return read_sources(PACKAGE)[figure.source]


def sorption_figures(profile: LeafProfile, branch: str) -> tuple[Figure, ...]:
    """The figures that decide water activity on one branch, salt included."""
    salt: tuple[Figure, ...] = ()
    if profile.salt_nacl_fraction + profile.salt_kcl_fraction > 0.0:
        salt = NACL.figures + KCL.figures
    parts = {f"{branch}.", "adsorption."} if branch == "desorption" else {"adsorption."}
    profile.branch_model(branch)
    own = tuple(
        f
        for f in profile.figures
        if f.quantity.startswith(tuple(parts)) or f.quantity.startswith(("sorption_", "salt_"))
    )
    return own + salt


def sorption_sources(profile: LeafProfile, branch: str) -> list[str]:
    """Citations of the figures that decide water activity, without repeats."""
    works = read_sources(PACKAGE)
    keys = [f.source for f in sorption_figures(profile, branch)]
    keys.append(MODELS[profile.branch_model(branch).model].source)
    return [works[key].cite() for key in dict.fromkeys(keys)]


def model_source(model: str) -> str:
    """Citation of a model's form."""
    return read_sources(PACKAGE)[MODELS[model].source].cite()


def salt_sources() -> list[str]:
    """Citations behind the brine of the two salts, without repeats."""
    works = read_sources(PACKAGE)
    return [works[k].cite() for k in dict.fromkeys(f.source for f in NACL.figures + KCL.figures)]


def evidence_sentence(profile: LeafProfile, branch: str) -> str:
    """Say how well the sorption of a profile is known, best evidence first."""
    count = Counter(f.evidence for f in sorption_figures(profile, branch))
    parts = [f"{count[e]} {_WORDS[e]}" for e in Evidence if count[e]]
    name = profile.name[:1].lower() + profile.name[1:]
    return (
        f"Constants behind the sorption of {name}: {', '.join(parts)}. "
        "Check against a water activity meter."
    )
