"""Which event was changed behind a seal: the very one where its own hash tells, else the fewest."""

from __future__ import annotations

from collections.abc import Sequence

from wareleaf.book.seal import TILE, TileTree
from wareleaf.works.house import Works


def pinned(
    works: Works, tree: TileTree, kept: Sequence[bytes], signed_root: bytes, first: int, size: int
) -> str:
    """A sentence on the event that is not as it was signed.

    The chain of hashes tells the very event, unless someone made the whole chain anew. Then the
    tiles kept with the seal tell which 256 events hold it, when they still give the signed root.
    A receipt that someone holds tells the very event even then.

    Parameters
    ----------
    works : Works
        The works.
    tree : TileTree
        Of the events as they are.
    kept : sequence of bytes
        Roots of the tiles, as kept with the last seal.
    signed_root : bytes
        Of the tree of the first ``size`` events, as it was signed.
    first : int
        The first event, from 1, that no earlier checkpoint vouches for.
    size : int
        Events under the signed root.
    """
    report = works.book.verify()
    if not report.ok:
        return report.message
    last, whole = size, size // TILE
    if len(kept) >= whole and TileTree(kept, size, works.book.leaf_hashes).root == signed_root:
        changed = [n for n in range(whole) if kept[n] != tree.tiles[n]]
        first, last = max(first, changed[0] * TILE + 1), (changed[0] + 1) * TILE
    return (
        f"An event among {first} to {last} is not the one that was signed; the chain of hashes was "
        "made anew. A receipt written before that tells which."
    )
