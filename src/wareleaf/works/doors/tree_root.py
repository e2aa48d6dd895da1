"""Root of an RFC 6962 Merkle tree over the given leaves."""

from __future__ import annotations

from pydantic import Field, field_validator

from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """The leaves as they are, in order; they are hashed here."""

    leaves_hex: list[str] = Field(description="Bytes of each leaf in hexadecimal; may be empty.")

    @field_validator("leaves_hex")
    @classmethod
    def _hex(cls, leaves: list[str]) -> list[str]:
        for n, leaf in enumerate(leaves):
            try:
                bytes.fromhex(leaf)
            except ValueError as error:
                raise ValueError(
                    f"leaf {n} is {leaf[:40]!r}; give pairs of hexadecimal digits"
                ) from error
        return leaves


class Output(DoorOutput):
    """The root, and how many leaves it covers."""

    root_hex: str
    tree_size: int


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.book import tree

    leaves = [tree.leaf_hash(bytes.fromhex(leaf)) for leaf in data.leaves_hex]
    return Output(
        root_hex=tree.root(leaves).hex(),
        tree_size=len(leaves),
        sources=["RFC 6962 (Laurie, Langley, Kasper, 2013), section 2.1."],
    )
