"""Checkpoints: the size and the root of the event tree, signed.

Source: C2SP tlog-checkpoint (read): three lines - origin, size, base64 of the root - as a signed
note. A checkpoint that someone outside keeps makes every later change of what it covers visible.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from wareleaf.book.seal.note import Verifier, check_name, open_note, sign
from wareleaf.book.tree import EMPTY_ROOT, leaf_hash, node_hash
from wareleaf.measure.errors import BadInput, require

__all__ = ["Checkpoint", "TreeLevels", "leaf_hash", "opened", "roots_at", "signed"]


@dataclass(frozen=True)
class Checkpoint:
    """Size and root of the tree of one book."""

    origin: str
    size: int
    root: bytes

    @property
    def text(self) -> str:
        """What is signed."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"


def signed(checkpoint: Checkpoint, keys: Iterable[tuple[str, Ed25519PrivateKey]]) -> str:
    """A signed checkpoint; the book's own key bears its origin as a name."""
    check_name(checkpoint.origin)
    return sign(checkpoint.text, keys)


def opened(note: str, verifiers: Iterable[Verifier]) -> Checkpoint:
    """Verify a signed checkpoint and read it.

    Raises
    ------
    BadInput
        When it is malformed, or no signature of the book's own key that is trusted holds.
    """
    text, held = open_note(note, verifiers)
    lines = text.split("\n")
    wrong = "This note is no checkpoint: it needs origin, size and root."
    require(len(lines) >= 4, "checkpoint", None, wrong)
    origin, size, root = lines[:3]
    require(size.isascii() and size.isdigit() and str(int(size)) == size, "checkpoint", size, wrong)
    try:
        raw = base64.b64decode(root, validate=True)
    except binascii.Error as error:
        raise BadInput("checkpoint", root, wrong) from error
    require(len(raw) == 32, "checkpoint", root, wrong)
    require(
        any(v.name == origin for v in held),
        "checkpoint",
        origin,
        f"The checkpoint is of {origin}, but the key that holds is of another book.",
    )
    return Checkpoint(origin, int(size), raw)


class TreeLevels:
    """All nodes of a tree, for many proofs at once.

    An odd last node moves up unchanged, which gives the tree of RFC 6962.

    Parameters
    ----------
    leaves : sequence of bytes
        Leaf hashes.
    """

    def __init__(self, leaves: Sequence[bytes]):
        self.levels = [list(leaves)]
        while len(self.levels[-1]) > 1:
            level = self.levels[-1]
            above = [node_hash(a, b) for a, b in zip(level[::2], level[1::2], strict=False)]
            if len(level) % 2:
                above.append(level[-1])
            self.levels.append(above)

    @property
    def size(self) -> int:
        """Number of leaves."""
        return len(self.levels[0])

    @property
    def root(self) -> bytes:
        """Root of the tree."""
        return self.levels[-1][0] if self.size else EMPTY_ROOT

    def path(self, index: int) -> list[bytes]:
        """Audit path of a leaf, from the leaf up."""
        require(
            0 <= index < self.size,
            "index",
            index,
            f"There is no leaf {index} in a tree of {self.size}.",
        )
        found = []
        for level in self.levels[:-1]:
            sister = index ^ 1
            if sister < len(level):
                found.append(level[sister])
            index >>= 1
        return found


def roots_at(leaves: Sequence[bytes], sizes: Iterable[int]) -> dict[int, bytes]:
    """Roots of the trees of the first so many leaves, in one walk."""
    wanted = sorted(set(sizes))
    found: dict[int, bytes] = {}
    whole: list[bytes] = []  # roots of the full subtrees, largest first
    done = 0
    for size in wanted:
        for k in range(done, size):
            node, count = leaves[k], k + 1
            while count % 2 == 0:
                node, count = node_hash(whole.pop(), node), count // 2
            whole.append(node)
        done = size
        root = EMPTY_ROOT
        for k, part in enumerate(reversed(whole)):
            root = part if k == 0 else node_hash(part, root)
        found[size] = root
    return found
