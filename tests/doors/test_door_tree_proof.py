"""The door against the public RFC 6962 test values; see tests/data/rfc6962_ct_vectors.md."""

import json
from pathlib import Path

import pytest

from wareleaf.book import tree
from wareleaf.measure import BadInput
from wareleaf.works import doors

VECTORS = json.loads((Path(__file__).parents[1] / "data" / "rfc6962_ct_vectors.json").read_text())
ROOTS = VECTORS["roots"]


def inclusion(case, **change):
    index, size = case["leaf"] - 1, case["size"]
    leaf = tree.leaf_hash(bytes.fromhex(VECTORS["inputs_hex"][index])).hex()
    return {
        "kind": "inclusion",
        "leaf_index": index,
        "tree_size": size,
        "leaf_hash_hex": leaf,
        "root_hex": ROOTS[size - 1],
        "hashes_hex": case["path"],
    } | change


def consistency(case, **change):
    m, n = case["size1"], case["size2"]
    return {
        "kind": "consistency",
        "size1": m,
        "size2": n,
        "root1_hex": ROOTS[m - 1],
        "root2_hex": ROOTS[n - 1],
        "hashes_hex": case["proof"],
    } | change


def valid(data):
    return doors.call("tree-proof", data)["valid"]


@pytest.mark.parametrize("case", VECTORS["inclusion"], ids=str)
def test_published_inclusion_proofs(case):
    assert valid(inclusion(case))
    for broken in (
        {"root_hex": VECTORS["empty"]},
        {"leaf_hash_hex": "00" * 32},
        {"leaf_index": case["leaf"]},
        {"leaf_index": -1},
        {"tree_size": case["size"] * 2},
        {"tree_size": 0},
        {"hashes_hex": [*case["path"], "00" * 32]},
        {"hashes_hex": ["not hexadecimal"]},
        {"root_hex": "short"},
    ):
        assert not valid(inclusion(case, **broken)), broken


@pytest.mark.parametrize("case", VECTORS["consistency"], ids=str)
def test_published_consistency_proofs(case):
    assert valid(consistency(case))
    for broken in (
        {"root2_hex": VECTORS["empty"]},
        {"size1": 0},
        {"size1": case["size2"] + 1},
        {"hashes_hex": [*case["proof"], "00" * 32]},
        {"hashes_hex": ["0"]},
        {"root1_hex": ""},
    ):
        assert not valid(consistency(case, **broken)), broken


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tree_size": None}, "a proof of inclusion needs tree_size"),
        ({"size1": 1}, "a proof of inclusion takes no size1"),
        ({"kind": "absence"}, "kind"),
    ],
)
def test_fields_that_do_not_belong_together(change, words):
    with pytest.raises(BadInput, match=words):
        doors.call("tree-proof", inclusion(VECTORS["inclusion"][1], **change))
