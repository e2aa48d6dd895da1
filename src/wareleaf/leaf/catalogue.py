"""The profiles that ship, and a works' own made from them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib import resources

from wareleaf.leaf.profiles import BRANCHES, LeafProfile, build
from wareleaf.measure import Evidence, Figure, read_figures, require

PACKAGE = "wareleaf.leaf"


@cache
def _texts() -> dict[str, dict[str, str]]:
    text = resources.files(PACKAGE).joinpath("data/profiles.toml").read_text("utf-8")
    return tomllib.loads(text)


@cache
def _all_figures() -> tuple[Figure, ...]:
    names = ("profile", "sorption", "kinetics", "composition")
    return tuple(f for name in names for f in read_figures(PACKAGE, name))


def profile_ids() -> tuple[str, ...]:
    """Ids of the profiles that ship, in the order of `data/profiles.toml`."""
    return tuple(_texts())


@cache
def profile(leaf_id: str) -> LeafProfile:
    """The profile of an id that ships.

    Raises
    ------
    BadInput
        Unknown id.
    """
    texts = _texts()
    require(
        leaf_id in texts,
        "leaf",
        leaf_id,
        f"leaf is {leaf_id!r}; it must be one of {', '.join(texts)}.",
    )
    t = texts[leaf_id]
    figures = tuple(f for f in _all_figures() if f.subject == leaf_id)
    return build(leaf_id, t["name"], t["crop"], t["description"], figures)


def _is_constant_of_a_model(quantity: str) -> bool:
    """Whether it reads BRANCH.MODEL.CONSTANT; the model itself is checked by `build`."""
    parts = quantity.split(".")
    return len(parts) == 3 and parts[0] in BRANCHES


def with_figures(
    base: LeafProfile,
    figures: Mapping[str, float],
    *,
    source: str = "works_own",
    evidence: Evidence = Evidence.MEMORY,
    note: str = "the works' own figure",
    leaf_id: str | None = None,
    name: str | None = None,
) -> LeafProfile:
    """Make a works' own profile: some figures of another replaced, and all checked again.

    Parameters
    ----------
    figures : mapping
        Value by quantity, as in `LeafProfile.figures`. Naming another model for a branch
        (``adsorption.gab.k``) drops the branch's former model; all its constants must be given.
    source, evidence, note
        Pedigree of the new values; the default evidence asks to be verified.
    leaf_id, name : str, optional
        Of the new profile; the base's own when left out.

    Raises
    ------
    BadInput
        An unknown quantity, or whatever `build` refuses.
    """
    known = {f.quantity: f for f in base.figures}
    rows = list(base.figures)
    for branch in BRANCHES:
        mine = [q for q in figures if _is_constant_of_a_model(q) and q.startswith(branch)]
        named = {q.split(".")[1] for q in mine}
        if named and base.branch_model(branch).model not in named:
            rows = [f for f in rows if not f.quantity.startswith(f"{branch}.")]
    for quantity, number in figures.items():
        require(
            quantity in known or _is_constant_of_a_model(quantity),
            quantity,
            number,
            f"{quantity} is not a figure of the leaf profile {base.id}; see its figures.",
        )
        old = known.get(quantity)
        fresh = Figure(
            subject=leaf_id or base.id,
            quantity=quantity,
            value=float(number),
            unit=old.unit if old else "",
            basis=old.basis if old else "",
            valid_range=old.valid_range if old else "",
            source=source,
            place="",
            evidence=evidence,
            note=note,
        )
        rows = [f for f in rows if f.quantity != quantity] + [fresh]
    if leaf_id is not None:
        rows = [replace(f, subject=leaf_id) for f in rows]
    return build(leaf_id or base.id, name or base.name, base.crop, base.description, rows)
