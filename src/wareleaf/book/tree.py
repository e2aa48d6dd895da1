"""The event log as a Merkle tree, hashed as RFC 6962 says, with proofs that fit in a letter.

Source: RFC 6962 (Laurie, Langley, Kasper, 2013), section 2.1. A leaf is SHA-256 of 00 and its
bytes, a node SHA-256 of 01 and its two children; a tree of n leaves splits at the largest power of
two below n. The verifiers follow RFC 9162 sections 2.1.3.2 and 2.1.4.2.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

EMPTY_ROOT = hashlib.sha256(b"").digest()
"""Root of the tree without leaves (RFC 6962 section 2.1)."""


def leaf_hash(data: bytes) -> bytes:
    """Hash of one leaf's bytes."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of a node from its children's hashes."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root(leaf_hashes: Sequence[bytes]) -> bytes:
    """Root of a tree from its leaf hashes.

    Level by level; an odd last node moves up unchanged, which gives the same tree as the split at
    the largest power of two.
    """
    if not leaf_hashes:
        return EMPTY_ROOT
    level = list(leaf_hashes)
    while len(level) > 1:
        above = [node_hash(a, b) for a, b in zip(level[::2], level[1::2], strict=False)]
        if len(level) % 2:
            above.append(level[-1])
        level = above
    return level[0]


def _split(n: int) -> int:
    return 1 << ((n - 1).bit_length() - 1)


def inclusion_proof(leaf_hashes: Sequence[bytes], index: int) -> list[bytes]:
    """Audit path of a leaf, from the leaf up (RFC 6962 section 2.1.1)."""
    n = len(leaf_hashes)
    if n <= 1:
        return []
    k = _split(n)
    if index < k:
        return [*inclusion_proof(leaf_hashes[:k], index), root(leaf_hashes[k:])]
    return [*inclusion_proof(leaf_hashes[k:], index - k), root(leaf_hashes[:k])]


def consistency_proof(leaf_hashes: Sequence[bytes], size1: int) -> list[bytes]:
    """Proof that the tree of the first ``size1`` leaves is a beginning (section 2.1.2)."""
    return _subproof(leaf_hashes, size1, whole=True) if 0 < size1 < len(leaf_hashes) else []


def _subproof(leaves: Sequence[bytes], m: int, *, whole: bool) -> list[bytes]:
    n = len(leaves)
    if m == n:
        return [] if whole else [root(leaves)]
    k = _split(n)
    if m <= k:
        return [*_subproof(leaves[:k], m, whole=whole), root(leaves[k:])]
    return [*_subproof(leaves[k:], m - k, whole=False), root(leaves[:k])]


def verify_inclusion(
    leaf: bytes, index: int, size: int, proof: Sequence[bytes], root_hash: bytes
) -> bool:
    """True when the proof ties the leaf hash at the index to the root (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size or not _sound(leaf, root_hash, *proof):
        return False
    fn, sn, r = index, size - 1, leaf
    for p in proof:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            r = node_hash(p, r)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = node_hash(r, p)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and r == root_hash


def verify_consistency(
    size1: int, size2: int, root1: bytes, root2: bytes, proof: Sequence[bytes]
) -> bool:
    """True when the first tree is a beginning of the second (RFC 9162, 2.1.4.2).

    A tree of size 0 is a beginning of everything and proves nothing, so it is refused.
    """
    if not 0 < size1 <= size2 or not _sound(root1, root2, *proof):
        return False
    if size1 == size2:
        return not proof and root1 == root2
    path = list(proof)
    if size1 & (size1 - 1) == 0:
        path.insert(0, root1)
    if not path:
        return False
    fn, sn = size1 - 1, size2 - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = path[0]
    for c in path[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = node_hash(c, fr), node_hash(c, sr)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = node_hash(sr, c)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and fr == root1 and sr == root2


def _sound(*hashes: bytes) -> bool:
    return all(len(h) == 32 for h in hashes)
