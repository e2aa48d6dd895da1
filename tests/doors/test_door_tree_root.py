"""The door against the public RFC 6962 test values; see tests/data/rfc6962_ct_vectors.md."""

import json
from pathlib import Path

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

VECTORS = json.loads((Path(__file__).parents[1] / "data" / "rfc6962_ct_vectors.json").read_text())


def test_the_empty_tree():
    answer = doors.call("tree-root", {"leaves_hex": []})
    assert answer["root_hex"] == VECTORS["empty"]
    assert answer["tree_size"] == 0
    assert answer["sources"]


@pytest.mark.parametrize("size", range(1, 9))
def test_the_published_roots(size):
    answer = doors.call("tree-root", {"leaves_hex": VECTORS["inputs_hex"][:size]})
    assert answer["root_hex"] == VECTORS["roots"][size - 1]


@pytest.mark.parametrize("leaf", ["0", "zz", "0x00"])
def test_a_leaf_that_is_not_hexadecimal_is_named(leaf):
    with pytest.raises(BadInput, match=r"leaf 1 is .* give pairs of hexadecimal digits"):
        doors.call("tree-root", {"leaves_hex": ["00", leaf]})
