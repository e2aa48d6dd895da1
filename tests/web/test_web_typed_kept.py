"""A form that is refused is shown again as it was typed; a correction offers what may be wrong."""

from __future__ import annotations

import re
from datetime import timedelta

from starlette.testclient import TestClient
from test_web_kinds import HTML, SSCC, post
from web_works import Seeded, packed_and_free

from wareleaf.works import handle_lot


def ticked(page: str, name: str, value: str) -> bool:
    """Whether a box or a button of a page is on."""
    found = re.search(rf'<input[^>]*name="{name}" value="{re.escape(value)}"[^>]*>', page)
    assert found, f"{name} {value} is not on the page"
    return " checked" in found.group(0)


def test_a_refused_pallet_keeps_ticks_packs_and_number(seeded: Seeded, client: TestClient) -> None:
    lot = packed_and_free(seeded, "EU")
    customer = next(c.id for c in seeded.works.settings.customer if c.market == "EU")
    page = f"/ship?customer={customer}"
    for sent, words in (
        ({"stack": lot, f"packs {lot}": "4.5", "sscc": SSCC}, "whole packs only"),
        ({"stack": lot, f"packs {lot}": "4", "sscc": SSCC[:-1] + "8"}, "right check digit"),
        ({"stack": lot, f"packs {lot}": "4000", "sscc": SSCC}, "are here and on none"),
    ):
        refused = post(client, page, "/pallets", customer=customer, **sent)
        assert refused.status_code == 422
        assert words in refused.text
        assert ticked(refused.text, "stack", lot)
        assert f'value="{sent[f"packs {lot}"]}"' in refused.text
        assert f'value="{sent["sscc"]}"' in refused.text
        assert '<details class="more below" open><summary>Put packs on a pallet' in refused.text
        assert f'name="customer" value="{customer}"' in refused.text
        assert "Not on the pallet" in refused.text
    none = post(client, page, "/pallets", customer=customer, sscc=SSCC)
    assert "No lot is ticked" in none.text
    assert f'value="{SSCC}"' in none.text
    built = post(client, page, "/pallets", customer=customer, stack=lot, sscc=SSCC)
    assert built.url.path == f"/pallets/{SSCC}"


def test_a_refused_taking_off_keeps_its_ticks(seeded: Seeded, client: TestClient) -> None:
    lot = packed_and_free(seeded, "EU")
    post(client, "/ship", "/pallets", stack=lot, **{f"packs {lot}": "4"}, sscc=SSCC)
    page = f"/pallets/{SSCC}"
    none = post(client, page, f"{page}/off")
    assert (none.status_code, "No lot is ticked" in none.text) == (422, True)
    assert "Bar code of pallet" in none.text
    wrong = post(client, page, f"{page}/off", lot_ids=[lot, "K6-0000-00"])
    assert wrong.status_code == 422
    assert ticked(wrong.text, "lot_ids", lot)


def test_refused_growing_forms_keep_every_field(client: TestClient) -> None:
    page = "/intake/growing"
    work = {"work": "spore wash", "substance": "acid", "dose": "1 l", "document": "P/3",
            "happened_at": "2026-05-11T08:30", "note": "calm"}  # fmt: skip
    harvest = {"estimated_kg": "-5", "harvest_id": "H-5", "cut_at": "2026-05-12T04:30",
               "vessel": "Tern", "people": "Ro, Ann", "document": "HV/5"}  # fmt: skip
    for part, said in (("work", work), ("harvest", harvest)):
        refused = post(client, page, page, part=part, source="line-02", **said)
        assert refused.status_code == 422
        assert ticked(refused.text, "source", "line-02")
        for value in said.values():
            assert f'value="{value}"' in refused.text, (part, value)
    post(client, page, page, part="harvest", source="line-01", estimated_kg="300", harvest_id="H-1")
    cool = {"temperature_c": "60", "place": "Tern", "began": "2026-05-12T05:00"}
    refused = post(client, page, page, part="cool", harvest_id="H-1", method="cold room", **cool)
    assert refused.status_code == 422
    assert ticked(refused.text, "harvest_id", "H-1")
    assert '<option value="cold room" selected>' in refused.text
    for value in cool.values():
        assert f'value="{value}"' in refused.text, value


def test_a_refused_return_keeps_every_field(seeded: Seeded, client: TestClient) -> None:
    lot = packed_and_free(seeded, "EU")
    customer = next(c.id for c in seeded.works.settings.customer if c.market == "EU")
    post(client, "/ship", "/ship", customer=customer, lot_ids=lot)
    page = f"/returns?customer={customer}"
    said = {"because": "torn", "document": "R/2", "note": "wet", f"kg {lot}": "900"}
    refused = post(client, page, "/returns", customer=customer, lot_ids=lot,
                   scale="kelp-floor-scale", **said)  # fmt: skip
    assert refused.status_code == 422
    assert ticked(refused.text, "lot_ids", lot)
    assert '<option value="kelp-floor-scale" selected>' in refused.text
    for value in said.values():
        assert f'value="{value}"' in refused.text, value


def test_a_refused_recall_keeps_its_words(seeded: Seeded, client: TestClient) -> None:
    lot = seeded.lots["flake"]
    asked = {"kind": "lot", "subject": lot}
    page = f"/recall?kind=lot&subject={lot}"
    post(client, page, "/recall/hold", **asked, reason="shells")
    said = {"method": "burnt", "witness": " ", "document": "D/2", "reason": "shells"}
    refused = post(client, page, "/recall/destroy", **asked, **said)
    assert refused.status_code == 422
    assert re.search(r'<details class="more stop" open><summary>Destroy what is held', refused.text)
    for name in ("method", "document", "reason"):
        assert f'value="{said[name]}"' in refused.text


def test_a_refused_question_of_the_adviser_keeps_its_limit_and_ticks(client: TestClient) -> None:
    client.post("/site", data={"site": "kelp"})
    page = client.get("/adviser", headers=HTML).text
    limits = re.findall(
        r'<option value="([^"]+)"', page.split('name="limit"')[1].split("</select>")[0]
    )
    assert limits
    refused = client.get(
        "/adviser",
        params={"limit": limits[-1], "risk": "five", "price_per_kg": "31", "without_strays": "yes"},
        headers=HTML,
    )
    assert refused.status_code == 422
    assert f'<option value="{limits[-1]}" selected>' in refused.text
    assert 'value="five"' in refused.text
    assert 'value="31"' in refused.text
    assert 'name="without_strays" value="yes"' in refused.text


def test_a_hold_is_corrected_on_its_page(seeded: Seeded, client: TestClient) -> None:
    works, lot = seeded.works, seeded.lots["flake"]
    held = handle_lot.hold(works, "ilsa", lot, "shels")
    page = f"/lots/{lot}/correct/{held.event_id}"
    shown = client.get(page, headers=HTML).text
    assert "Why it was held" in shown
    assert 'value="shels"' in shown
    assert not ticked(shown, "void", "1")
    same = post(client, page, page, reason="misspelt", said="shels")
    assert same.status_code == 422
    assert "Nothing is changed" in same.text
    assert 'value="misspelt"' in same.text
    empty = post(client, page, page, reason="misspelt", said=" ")
    assert "The reason of the hold is empty" in empty.text
    earlier = (held.happened_at - timedelta(minutes=3)).strftime("%Y-%m-%dT%H:%M")
    post(client, page, page, reason="misspelt", said="shells", happened_at=earlier, document="N/4")
    assert works.book.lot(lot).held_because == "shells"
    (fixed,) = works.book.events_in_force(kind="hold", lot_id=lot)
    assert fixed.happened_at.strftime("%Y-%m-%dT%H:%M") == earlier
    assert (fixed.document, fixed.facts["reason"]) == ("N/4", "shells")
    again = works.book.events(lot_id=lot, newest_first=True)[0].event
    page = f"/lots/{lot}/correct/{again.event_id}"
    assert 'value="shells"' in client.get(page, headers=HTML).text
    post(client, page, page, reason="another lot", void="1")
    assert works.book.lot(lot).held_because == ""


def test_a_freed_lot_keeps_what_was_signed_and_takes_a_new_time(seeded: Seeded, as_who) -> None:
    works, lot = seeded.works, seeded.lots["flake"]
    handle_lot.hold(works, "ilsa", lot, "shells")
    freed = handle_lot.free(works, "bex", lot, "sieved")
    client = as_who("bex")
    page = f"/lots/{lot}/correct/{freed.event_id}"
    shown = client.get(page, headers=HTML).text
    assert "take it out and sign again" in shown
    post(client, page, page, reason="paper forgotten", document="QM/7")
    (fixed,) = works.book.events_in_force(kind="release", lot_id=lot)
    assert (fixed.document, fixed.facts["reason"]) == ("QM/7", "sieved")


def test_a_corrected_time_leaves_weights_as_they_are(seeded: Seeded, client: TestClient) -> None:
    works, lot = seeded.works, seeded.lots["tea b"]
    before = works.book.lot(lot)
    page = f"/lots/{lot}/correct/{before.made_by}"
    shown = client.get(page, headers=HTML).text
    typed = dict(re.findall(r'name="((?:mass_kg|moisture_wb) [^"]+)" value="([^"]*)"', shown))
    assert len(typed) == 2
    earlier = (before.made_at - timedelta(minutes=7)).strftime("%Y-%m-%dT%H:%M")
    post(client, page, page, reason="clock was off", happened_at=earlier, **typed)
    after = works.book.lot(lot)
    assert (after.mass_g, after.dry_g) == (before.mass_g, before.dry_g)
    assert after.made_at.strftime("%Y-%m-%dT%H:%M") == earlier
