"""Checks a Merkle proof: a leaf in a tree, or an older tree as the beginning of a newer one."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput

_NEEDS = {
    "inclusion": ("leaf_index", "tree_size", "leaf_hash_hex", "root_hex"),
    "consistency": ("size1", "size2", "root1_hex", "root2_hex"),
}


class Input(DoorInput):
    """One proof. A malformed one is not an error: it does not hold."""

    kind: Literal["inclusion", "consistency"]
    hashes_hex: list[str] = Field(description="The proof, from the leaf up.")
    leaf_index: int | None = Field(None, description="Inclusion: from 0.")
    tree_size: int | None = None
    leaf_hash_hex: str | None = Field(
        None, description="Inclusion: hash of the leaf, not its data."
    )
    root_hex: str | None = None
    size1: int | None = None
    size2: int | None = None
    root1_hex: str | None = None
    root2_hex: str | None = None

    @model_validator(mode="after")
    def _fields_of_its_kind(self) -> Self:
        for kind, names in _NEEDS.items():
            for name in names:
                if (getattr(self, name) is None) == (kind == self.kind):
                    verb = "needs" if kind == self.kind else "takes no"
                    raise ValueError(f"a proof of {self.kind} {verb} {name}")
        return self


class Output(DoorOutput):
    """Whether it holds."""

    valid: bool


def run(data: Input) -> Output:
    """Compute the door."""
    try:
        valid = _holds(data)
    except ValueError:  # not hexadecimal
        valid = False
    return Output(
        valid=valid,
        sources=[
            "RFC 6962 (Laurie, Langley, Kasper, 2013), section 2.1.",
            "RFC 9162 (Laurie, Messeri, Stradling, 2021), sections 2.1.3.2 and 2.1.4.2.",
        ],
    )


def _holds(data: Input) -> bool:
    from wareleaf.book import tree

    proof = [bytes.fromhex(h) for h in data.hashes_hex]
    if data.kind == "inclusion":
        assert data.leaf_index is not None
        assert data.tree_size is not None
        leaf, root = (bytes.fromhex(h or "") for h in (data.leaf_hash_hex, data.root_hex))
        return tree.verify_inclusion(leaf, data.leaf_index, data.tree_size, proof, root)
    assert data.size1 is not None
    assert data.size2 is not None
    root1, root2 = (bytes.fromhex(h or "") for h in (data.root1_hex, data.root2_hex))
    return tree.verify_consistency(data.size1, data.size2, root1, root2, proof)
