"""The reconcile door: a published case, its exact fields, and what it says of bad input."""

import json

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

# Narasimhan and Jordache (2000), heat exchanger with bypass; see test_reconcile_published.py.
MEASURED = [101.91, 64.45, 34.65, 64.20, 36.44, 98.88]
PRINTED = [100.22, 64.50, 35.72, 64.50, 35.72, 100.22]
WIRES = [
    (None, "splitter"),
    ("splitter", "exchanger"),
    ("splitter", "valve"),
    ("exchanger", "mixer"),
    ("valve", "mixer"),
    ("mixer", None),
]


def streams(measured=MEASURED):
    return [
        {"name": f"s{k}", "from": a, "to": b}
        | ({} if m is None else {"measured": m, "standard_uncertainty": 1.0})
        for k, (m, (a, b)) in enumerate(zip(measured, WIRES, strict=True), 1)
    ]


def reconcile(**data):
    return doors.call("reconcile", data)


def test_the_published_case_and_the_fixed_fields():
    out = reconcile(streams=streams())
    assert [s["reconciled"] for s in out["streams"]] == pytest.approx(PRINTED, abs=0.006)
    first = out["streams"][0]
    assert first["name"] == "s1"
    assert first["class"] == "redundant"
    assert first["adjustment"] == pytest.approx(first["reconciled"] - 101.91)
    assert 0.0 < first["standard_uncertainty"] < 1.0
    assert out["global_test"]["statistic"] == pytest.approx(6.4075, abs=6e-5)
    assert out["global_test"]["dof"] == 4
    assert out["suspects"] == []
    assert out["warnings"] == []
    json.dumps(out, allow_nan=False)


def test_classes_and_known_amounts():
    out = reconcile(streams=streams([101.91, None, None, None, 36.44, 98.88]))
    kinds = {s["name"]: s["class"] for s in out["streams"]}
    assert kinds == {
        "s1": "redundant",
        "s2": "observable",
        "s3": "observable",
        "s4": "observable",
        "s5": "nonredundant",
        "s6": "redundant",
    }
    blind = reconcile(streams=streams([101.91, None, None, None, None, 98.88]))
    assert blind["streams"][1]["class"] == "unobservable"
    assert blind["streams"][1]["reconciled"] is None
    assert "4 of 6 streams cannot be known" in blind["warnings"][0]
    known = reconcile(streams=streams(), known={"s1": 100.0})
    assert known["streams"][0]["reconciled"] == 100.0
    assert known["streams"][0]["standard_uncertainty"] == 0.0
    assert known["streams"][5]["reconciled"] == pytest.approx(100.0)


def test_a_gross_error_is_ranked_first():
    wrong = list(MEASURED)
    wrong[1] += 20.0
    out = reconcile(streams=streams(wrong))
    # streams 2 and 4 are in a row with 1-3 and 6-5 around: the balances tell 2 from the others
    assert out["suspects"][0]["name"] == "s2"
    assert out["suspects"][0]["rank"] == 1
    assert out["suspects"][0]["error"] == pytest.approx(20.0, abs=3.0)
    assert out["suspects"][0]["after"]["p_value"] > 0.05
    assert out["without_suspects"]["s2"] == pytest.approx(64.5, abs=1.5)


def test_the_schema_speaks_of_from_and_to():
    shown = doors.schema("reconcile")
    stream = shown["input"]["$defs"]["StreamIn"]["properties"]
    assert set(stream) == {"name", "from", "to", "measured", "standard_uncertainty"}
    assert "class" in shown["output"]["$defs"]["StreamOut"]["properties"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"streams": []}, "needs 1"),
        ({"streams": [{"name": "a", "from": "x", "to": None, "measured": 1.0}]}, "known"),
        ({"streams": [{"name": "a", "from": "x", "to": "x"}]}, "two places"),
        ({"streams": [{"name": "a", "start": "x"}]}, "start is not a field"),
        ({"streams": streams(), "known": {"s9": 1.0}}, "no such stream"),
        ({"streams": streams(), "known": {"s1": 1.0, "s6": 2.0}}, "contradict"),
    ],
)
def test_bad_input_is_named(data, words):
    with pytest.raises(BadInput, match=words):
        reconcile(**data)
