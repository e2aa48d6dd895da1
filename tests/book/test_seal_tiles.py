"""Tiles give the same tree as RFC 6962 computed whole, whatever the size."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wareleaf.book import seal, tree
from wareleaf.measure import BadInput

LEAVES = [tree.leaf_hash(str(n).encode()) for n in range(2100)]


def tiled(size, upto=None):
    tiles, tail = seal.fold_tiles(LEAVES[: upto or size])
    assert len(tail) < seal.TILE
    asked = []

    def leaves_of(low, high):
        asked.append(high - low)
        return LEAVES[low:high]

    made = seal.TileTree(tiles, size, leaves_of)
    made.asked = asked
    return made


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 2100), st.data())
@example(size=256, data=None)
@example(size=257, data=None)
@example(size=511, data=None)
@example(size=1024, data=None)
@example(size=1, data=None)
def test_root_paths_and_consistency_are_those_of_the_whole_tree(size, data):
    made, leaves = tiled(size), LEAVES[:size]
    assert made.root == tree.root(leaves)
    whole = seal.TreeLevels(leaves)
    some = {0, size - 1, size // 2} | ({data.draw(st.integers(0, size - 1))} if data else set())
    for index in some:
        assert made.path(index) == whole.path(index)
        assert tree.verify_inclusion(leaves[index], index, size, made.path(index), made.root)
    for older in {1, size // 2, size - 1, size, *(i + 1 for i in some)}:
        assert made.consistency(older) == tree.consistency_proof(leaves, older), older
    sizes = {0, 1, 255, 256, 257, 512, 700, size} & set(range(size + 1))
    assert made.roots_at(sizes) == {n: tree.root(LEAVES[:n]) for n in sizes}


def test_only_the_tiles_that_are_asked_for_are_read():
    made = tiled(2100)
    assert made.root and made.path(700) and made.consistency(1300)
    assert max(made.asked) <= seal.TILE
    assert sum(made.asked) <= 5 * seal.TILE


def test_tiles_of_a_larger_book_serve_a_smaller_tree():
    assert tiled(900, upto=2100).root == tree.root(LEAVES[:900])


def test_too_few_tiles_are_refused():
    with pytest.raises(BadInput, match="has 3 whole tiles, and 2 are given"):
        seal.TileTree(seal.fold_tiles(LEAVES[:600])[0], 900, lambda low, high: LEAVES[low:high])
    with pytest.raises(BadInput, match="There is no leaf 5"):
        tiled(5).path(5)
    assert seal.TileTree((), 0, lambda low, high: []).root == tree.EMPTY_ROOT
