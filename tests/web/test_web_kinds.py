"""Harvest, waiting intervals, pallets, returns, rework, destruction over HTTP. All invented."""

from __future__ import annotations

import re

from starlette.testclient import TestClient
from web_works import Seeded, packed_and_free

HTML = {"accept": "text/html"}
SSCC = "340123450000000017"


def post(client: TestClient, page: str, to: str, **sent: object):
    text = client.get(page, headers=HTML).text
    press = re.search(r'name="press" value="([^"]+)"', text).group(1)
    return client.post(to, data={"press": press, **sent}, headers=HTML)


def test_a_load_of_a_harvest_cut_too_early_is_held_and_told(
    seeded: Seeded, client: TestClient
) -> None:
    growing = "/intake/growing"
    refused = post(client, growing, growing, part="work", source="line-01", work="spore wash",
                   substance="acid", dose="1 l")  # fmt: skip
    assert refused.status_code == 422
    assert "needs its waiting interval" in refused.text
    assert 'value="spore wash"' in refused.text
    post(client, growing, growing, part="work", source="line-01", work="spore wash",
         substance="acid", interval_days="3")  # fmt: skip
    done = post(client, growing, growing, part="harvest", source="line-01", estimated_kg="300",
                harvest_id="H-1")  # fmt: skip
    assert "Its loads will be held" in done.text
    done = post(client, growing, growing, part="cool", harvest_id="H-1", method="ice",
                temperature_c="2")  # fmt: skip
    assert "The cooling of harvest H-1 is in the book." in done.text
    taken = post(client, "/intake", "/intake", source="line-01", gross_kg="310", tare_kg="10",
                 meter="quay-scale", harvest="H-1")  # fmt: skip
    assert "Taken in and put on hold" in taken.text
    assert "before the waiting interval of acid ended" in taken.text


def test_a_pallet_is_built_found_and_shipped_and_leaf_comes_back(
    seeded: Seeded, client: TestClient
) -> None:
    works, lot = seeded.works, packed_and_free(seeded, "EU")
    customer = next(c.id for c in works.settings.customer if c.market == "EU")
    built = post(client, "/ship", "/pallets", stack=lot, **{f"packs {lot}": "4"}, sscc=SSCC,
                 document="PAL-8")  # fmt: skip
    assert "put on a pallet</b>, paper PAL-8:" in built.text
    assert built.url.path == f"/pallets/{SSCC}"
    assert "Bar code of pallet" in built.text
    found = client.get("/find", params={"q": f"(00){SSCC}"}, headers=HTML)
    assert found.url.path == f"/pallets/{SSCC}"
    found = client.get(f"/lots?q=(00){SSCC}", headers=HTML)
    assert found.url.path == f"/pallets/{SSCC}"
    page = f"/ship?customer={customer}"
    sent = post(client, page, "/ship", customer=customer, pallets=SSCC)
    assert "Shipped: 2.0 kg" in sent.text
    assert "shipped</span>" in client.get(f"/pallets/{SSCC}", headers=HTML).text
    page = f"/returns?customer={customer}"
    much = post(client, page, "/returns", customer=customer, lot_ids=lot, because="torn",
                **{f"kg {lot}": "9"})  # fmt: skip
    assert much.status_code == 422
    assert "no more can come back" in much.text
    back = post(client, page, "/returns", customer=customer, lot_ids=lot, because="torn",
                **{f"kg {lot}": "1"})  # fmt: skip
    made = re.search(r"on hold: (\S+)\. Write", back.text).group(1)
    assert works.book.lot(made).held_because == f"came back from {customer}: torn"
    assert "1.00 kg came back" in client.get(f"/trace/{lot}", headers=HTML).text
    assert "Came back" in client.get("/balance", headers=HTML).text
    report = client.get(f"/recall?kind=lot&subject={lot}", headers=HTML).text
    assert "1.00 kg came back, 1.00 kg left" in report


def test_a_lot_is_graded_reworked_and_destroyed_from_its_page(
    seeded: Seeded, client: TestClient
) -> None:
    works, lot = seeded.works, packed_and_free(seeded, "EU")
    page = f"/lots/{lot}"
    post(client, page, f"{page}/grade", grade="fine", grade_by="taste")
    assert works.book.lot(lot).attributes["grade"] == "fine"
    done = post(client, page, f"{page}/rework", taken_kg="3", came_kg="2.9", rework_into="flake",
                waste_kg="0.1", because="weak seals")  # fmt: skip
    made = re.search(r"Reworked into (\S+):", done.text).group(1)
    assert works.book.lot(made).mass_g == 2_900
    said = {"method": "composted", "witness": "", "document": "D/1", "reason": "mould"}
    none = post(client, page, f"{page}/destroy", **said)
    assert none.status_code == 422
    assert "give who saw it" in none.text
    post(client, page, f"{page}/destroy", **{**said, "witness": "Inspector Reed"})
    assert works.book.lot(lot).remaining_mass_g == 0


def test_what_a_recall_holds_is_destroyed_from_its_report(
    seeded: Seeded, client: TestClient
) -> None:
    lot = seeded.lots["flake"]
    asked = {"kind": "lot", "subject": lot}
    page = f"/recall?kind=lot&subject={lot}"
    assert "Destroy what is held" not in client.get(page, headers=HTML).text
    post(client, page, "/recall/hold", **asked, reason="shells", document="RC-8")
    held = seeded.works.book.events_in_force(kind="hold")
    assert "RC-8" in {e.document for e in held}
    assert "Destroy what is held" in client.get(page, headers=HTML).text
    done = post(client, page, "/recall/destroy", **asked, method="burnt", document="D/2",
                witness="Inspector Reed", reason="shells")  # fmt: skip
    assert "destroyed." in done.text
    assert seeded.works.book.lot(lot).remaining_mass_g == 0
