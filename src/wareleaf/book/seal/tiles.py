"""The tree of a large book from stored tiles: only what is new, or asked for, is hashed again.

A tile is the root of 256 neighbouring leaves that are all there; it never changes once it is whole.
RFC 6962 splits a tree at the largest power of two below its size, so every whole tile is a subtree
of every larger tree. Tiles need no trust: the root they give is held against a signed checkpoint.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cached_property

from wareleaf.book.seal.checkpoint import TreeLevels
from wareleaf.book.tree import EMPTY_ROOT, node_hash, root
from wareleaf.measure.errors import require

TILE = 256
"""Leaves of a tile."""


def fold_tiles(leaves: Iterable[bytes]) -> tuple[list[bytes], list[bytes]]:
    """Roots of the whole tiles of leaf hashes, and the leaves after the last whole one."""
    tiles: list[bytes] = []
    tail: list[bytes] = []
    for leaf in leaves:
        tail.append(leaf)
        if len(tail) == TILE:
            tiles.append(root(tail))
            tail = []
    return tiles, tail


class TileTree:
    """A Merkle tree of which only tiles are held; single leaves are asked for when needed.

    Parameters
    ----------
    tiles : sequence of bytes
        Roots of the whole tiles, from the first on.
    size : int
        Leaves of the tree.
    leaves_of : callable
        Gives the leaf hashes from one place up to another, from 0.
    """

    def __init__(
        self, tiles: Sequence[bytes], size: int, leaves_of: Callable[[int, int], Sequence[bytes]]
    ):
        self.size = size
        self.tiles = tuple(tiles[: size // TILE])
        require(
            len(self.tiles) == size // TILE,
            "tiles",
            len(tiles),
            f"A tree of {size} leaves has {size // TILE} whole tiles, and {len(tiles)} are given.",
        )
        self._leaves_of = leaves_of

    @cached_property
    def _upper(self) -> TreeLevels:
        """The tree above the tiles; a part of a tile at the end stands in its place."""
        rest = self._leaves_of(len(self.tiles) * TILE, self.size)
        return TreeLevels([*self.tiles, root(rest)] if rest else self.tiles)

    @property
    def root(self) -> bytes:
        """Root of the tree."""
        return self._upper.root if self.size else EMPTY_ROOT

    def path(self, index: int) -> list[bytes]:
        """Audit path of a leaf, from the leaf up (RFC 6962 section 2.1.1)."""
        require(
            0 <= index < self.size,
            "index",
            index,
            f"There is no leaf {index} in a tree of {self.size}.",
        )
        first = index // TILE * TILE
        within = TreeLevels(self._leaves_of(first, min(first + TILE, self.size)))
        return within.path(index - first) + self._upper.path(index // TILE)

    def consistency(self, size1: int) -> list[bytes]:
        """Proof that the tree of the first ``size1`` leaves is a beginning (section 2.1.2)."""
        if not 0 < size1 < self.size:
            return []
        low, high, whole = 0, self.size, True
        proof: list[bytes] = []
        while size1 != high:
            middle = low + (1 << ((high - low - 1).bit_length() - 1))
            if size1 <= middle:
                proof.append(self._range(middle, high))
                high = middle
            else:
                proof.append(self._range(low, middle))
                low, whole = middle, False
        if not whole:
            proof.append(self._range(low, high))
        return proof[::-1]

    def _range(self, low: int, high: int) -> bytes:
        """Root of the leaves from one place up to another, as they stand together in the tree."""
        if high - low < TILE:
            return root(self._leaves_of(low, high))
        nodes = list(self.tiles[low // TILE : high // TILE])
        if high % TILE:
            nodes.append(root(self._leaves_of(high // TILE * TILE, high)))
        return root(nodes)

    def roots_at(self, sizes: Iterable[int]) -> dict[int, bytes]:
        """Roots of the trees of the first so many leaves, in one walk over the tiles."""
        found: dict[int, bytes] = {}
        whole: list[bytes] = []  # roots of the full subtrees of tiles, largest first
        done = 0
        for size in sorted(set(sizes)):
            for k in range(done, size // TILE):
                node, count = self.tiles[k], k + 1
                while count % 2 == 0:
                    node, count = node_hash(whole.pop(), node), count // 2
                whole.append(node)
            done = size // TILE
            rest = self._leaves_of(done * TILE, size) if size % TILE else ()
            parts = [*whole, root(rest)] if rest else list(whole)
            node = parts.pop() if parts else EMPTY_ROOT
            while parts:
                node = node_hash(parts.pop(), node)
            found[size] = node
        return found
