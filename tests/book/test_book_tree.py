"""RFC 6962 tree against the public test values; see tests/data/rfc6962_ct_vectors.md."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wareleaf.book import tree

VECTORS = json.loads((Path(__file__).parents[1] / "data" / "rfc6962_ct_vectors.json").read_text())
LEAVES = [tree.leaf_hash(bytes.fromhex(x)) for x in VECTORS["inputs_hex"]]


def unhex(items):
    return [bytes.fromhex(x) for x in items]


def test_empty_leaf_and_node_hashes():
    assert tree.EMPTY_ROOT.hex() == VECTORS["empty"] == tree.root([]).hex()
    for data, digest in VECTORS["leaf_hash"].items():
        assert tree.leaf_hash(bytes.fromhex(data)).hex() == digest
    node = VECTORS["node_hash"]
    left, right = node["left_ascii"].encode(), node["right_ascii"].encode()
    assert tree.node_hash(left, right).hex() == node["hash"]


@pytest.mark.parametrize("size", range(1, 9))
def test_roots(size):
    assert tree.root(LEAVES[:size]).hex() == VECTORS["roots"][size - 1]


@pytest.mark.parametrize("case", VECTORS["inclusion"], ids=str)
def test_inclusion(case):
    size, index = case["size"], case["leaf"] - 1
    root = bytes.fromhex(VECTORS["roots"][size - 1])
    proof = unhex(case["path"])
    assert tree.inclusion_proof(LEAVES[:size], index) == proof
    assert tree.verify_inclusion(LEAVES[index], index, size, proof, root)
    assert not tree.verify_inclusion(LEAVES[index], index + 1, size, proof, root)


@pytest.mark.parametrize("case", VECTORS["consistency"], ids=str)
def test_consistency(case):
    m, n = case["size1"], case["size2"]
    old, new = (bytes.fromhex(VECTORS["roots"][k - 1]) for k in (m, n))
    proof = unhex(case["proof"])
    assert tree.consistency_proof(LEAVES[:n], m) == proof
    assert tree.verify_consistency(m, n, old, new, proof)
    if m != n:
        assert not tree.verify_consistency(m, n, new, new, proof)


@settings(deadline=None, max_examples=80)
@given(st.integers(1, 60), st.data())
def test_any_proof_holds_and_no_broken_one_does(size, data):
    leaves = [tree.leaf_hash(bytes([k])) for k in range(size)]
    root = tree.root(leaves)
    index = data.draw(st.integers(0, size - 1))
    old = data.draw(st.integers(1, size))
    proof = tree.inclusion_proof(leaves, index)
    steps = tree.consistency_proof(leaves, old)
    before = tree.root(leaves[:old])
    assert tree.verify_inclusion(leaves[index], index, size, proof, root)
    assert tree.verify_consistency(old, size, before, root, steps)
    wrong = bytes(32)
    assert not tree.verify_inclusion(wrong, index, size, proof, root)
    assert not tree.verify_inclusion(leaves[index], index, size, [*proof, wrong], root)
    assert not tree.verify_consistency(old, size, before, wrong, steps)
    assert not tree.verify_consistency(old, size, before, root, [*steps, wrong])
    if proof:
        assert not tree.verify_inclusion(leaves[index], index, size, proof[:-1], root)


def test_sizes_of_zero_and_shrinking_trees_are_refused():
    a = tree.root(LEAVES[:1])
    assert not tree.verify_consistency(0, 0, tree.EMPTY_ROOT, tree.EMPTY_ROOT, [])
    assert not tree.verify_consistency(0, 1, tree.EMPTY_ROOT, a, [])
    assert not tree.verify_consistency(2, 1, a, a, [])
    assert not tree.verify_inclusion(LEAVES[0], -1, 1, [], a)
    assert not tree.verify_inclusion(LEAVES[0][:5], 0, 1, [], a)
