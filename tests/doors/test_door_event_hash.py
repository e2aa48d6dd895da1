"""The event-hash door against the published vectors; see tests/data/eventhash_vectors.md."""

import json
from pathlib import Path

import pytest

from wareleaf.book.exchange.event_hash import utc_time
from wareleaf.book.exchange.uris import canonical_uri
from wareleaf.measure import BadInput
from wareleaf.works import doors

VECTORS = json.loads((Path(__file__).parents[1] / "data" / "eventhash_vectors.json").read_text())


def call(event, context=None):
    return doors.call("event-hash", event | ({"@context": context} if context else {}))


@pytest.mark.parametrize("case", VECTORS, ids=lambda c: c["name"])
def test_published_vectors(case):
    out = call(case["event"], case["context"])
    assert out["prehash"] == case["prehash"]
    assert out["hash"] == case["hash"]


def test_every_field_counts_but_those_left_out():
    for case in VECTORS:
        event = case["event"]
        for name in event:
            changed = dict(event)
            if name in ("type", "eventTime", "eventTimeZoneOffset", "action"):
                changed[name] = {
                    "type": "AssociationEvent",
                    "eventTime": "2019-10-21T11:00:30.001+01:00",
                    "eventTimeZoneOffset": "+03:00",
                    "action": "OTHER",
                }[name]
            else:
                del changed[name]
            same = call(changed, case["context"])["hash"] == case["hash"]
            assert same == (name in ("recordTime", "eventID")), (case["name"], name)


def test_order_spelling_and_what_is_left_out_do_not_matter():
    case = next(c for c in VECTORS if len(c["event"].get("epcList", [])) == 3)
    event = dict(case["event"])
    event["epcList"] = list(reversed(event["epcList"]))
    event["epcList"][0] = "https://shop.example.com/id/00/040123450000002225?x=1"
    event["bizStep"] = "urn:epcglobal:cbv:bizstep:departing"
    event["eventTime"] = "2020-03-04T04:00:30-06:00"
    event["recordTime"] = "2021-01-01T00:00:00Z"
    event["eventID"] = "ni:///sha-256;00?ver=CBV2.0"
    event["errorDeclaration"] = {"declarationTime": "2021-01-01T00:00:00Z"}
    assert call(event, case["context"])["hash"] == case["hash"]


# URN and key of one identifier, from the same reference's tests (read; traceability notes 2.1);
# the links of other domains follow the rule that only the finest level counts.
@pytest.mark.parametrize(
    ("text", "link"),
    [
        ("urn:epc:id:sscc:4012345.3111111111", "00/340123451111111111"),
        ("urn:epc:class:lgtin:4012345.012345.Lot987", "01/04012345123456/10/Lot987"),
        ("urn:epc:id:sgln:4012345.00005.0", "414/4012345000054"),
        ("urn:epc:id:sgln:4012345.00005.122", "414/4012345000054/254/122"),
        ("https://example.org/a/01/4012345123456/10/L1/21/S1?17=271031", "01/04012345123456/21/S1"),
        ("https://example.org/01/04012345123456/22/V/10/L1", "01/04012345123456/10/L1"),
        ("http://example.org/414/4012345000054#top", "414/4012345000054"),
    ],
)
def test_one_spelling(text, link):
    assert canonical_uri(text) == f"https://id.gs1.org/{link}"
    assert canonical_uri(canonical_uri(text)) == canonical_uri(text)


@pytest.mark.parametrize("text", ["urn:x:y", "https://example.org/a/b", "urn:epc:id:sgtin:1", ""])
def test_what_is_no_identifier_stays(text):
    assert canonical_uri(text) == text


def test_times_round_by_their_fourth_decimal():
    assert utc_time("t", "2019-10-21T11:00:30.12349+01:00") == "2019-10-21T10:00:30.123Z"
    assert utc_time("t", "2019-10-21T11:00:30.1235+01:00") == "2019-10-21T10:00:30.124Z"
    assert utc_time("t", "2019-12-31T23:59:59.9995Z") == "2020-01-01T00:00:00.000Z"


BASE = {"type": "ObjectEvent", "eventTime": "2026-04-12T06:00:00Z", "eventTimeZoneOffset": "+00:00"}


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ({}, "type"),
        (BASE | {"eventTime": "yesterday"}, "give a time with its offset"),
        (BASE | {"eventTime": "2026-04-12T06:00:00"}, "give a time with its offset"),
        (BASE | {"colour": "green"}, "colour is not a field"),
        (BASE | {"mine:colour": "green"}, "namespace is not known"),
        (BASE | {"quantityList": [{"epcClass": "x", "quantity": "many"}]}, "must be a number"),
        (BASE | {"epcList": "x"}, "epcList"),
    ],
)
def test_bad_input_is_named(event, words):
    with pytest.raises(BadInput, match=words):
        call(event)
