"""The bench and the office over HTTP: from a result to a release, a pack and a plan."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient
from tests.book.book_makers import event, made
from web_works import Seeded

from wareleaf.web.app import create_app
from wareleaf.works import bench, plan_day, release_lot
from wareleaf.works.expected import expected
from wareleaf.works.record import Entry, record

HTML = {"accept": "text/html"}
JSON = {"accept": "application/json"}
# 34 kg of flake in 500 g packs; below 100 packs every one is weighed (OIML R 87:2016, table 1).
PACKS = 60


def text(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def sample_of(seeded: Seeded) -> str:
    return bench.waiting(seeded.works)[0].sample_id


def released(seeded: Seeded, *markets: str) -> str:
    """The flake lot with every result and text that the markets ask for, signed free."""
    works, lot = seeded.works, seeded.lots["flake"]
    sample = sample_of(seeded)
    for verdict in release_lot.assess_all(works, lot):
        for line in verdict.lines:
            limit = line.limit
            if verdict.market.id not in markets:
                continue
            if line.needs_confirmation:
                release_lot.confirm_limit(works, "bex", limit.id, "read for this test")
            if limit.limit is not None and limit.legal and line.value is None:
                low = 0.1 * limit.limit
                found = bench.Found(limit.parameter, low, 0.05 * low, limit.unit, "dry", 0.1)
                bench.record_result(works, "mirel", lot, sample, found)
    release_lot.release(works, "bex", lot, markets)
    return lot


def addresses(seeded: Seeded) -> list[str]:
    lots = seeded.lots
    return [
        "/bench",
        f"/bench/{sample_of(seeded)}",
        f"/bench/{sample_of(seeded)}?parameter=cadmium",
        f"/bench/{sample_of(seeded)}?parameter=other",
        f"/release/{lots['flake']}",
        f"/release/{lots['flake2']}",
        "/blend",
        "/blend?product=kelp-flake-500&mass_kg=5",
        "/pack",
        f"/pack?lot={lots['flake']}",
        "/ship",
        "/plan",
        "/watch",
        "/watch?days=7",
        "/balance",
        "/recall",
        *(f"/recall?kind={k}" for k in ("lot", "source", "machine", "meter", "laboratory", "film")),
        f"/recall?kind=lot&subject={lots['flake']}",
        "/learned",
        "/balance?day=2026-05-11",
        *(f"/settings?part={p}" for p in ("works", "machines", "meters", "people", "products")),
        "/settings?part=leaf&leaf=tea_black",
        "/settings?part=limits&market=AU",
    ]


@pytest.mark.slow
def test_every_office_page_opens_in_both_forms(client: TestClient, seeded: Seeded) -> None:
    for address in addresses(seeded):
        page = client.get(address, headers=HTML)
        assert page.status_code == 200, address
        assert "<h1" in page.text, address
        assert not re.search(r"<script(?![^>]*\bsrc=)", page.text), f"inline script on {address}"
        assert not re.search(r"\son[a-z]+=", page.text), f"inline handler on {address}"
        assert not re.search(r'(?:src|href)="https?:', page.text), f"outside address on {address}"
        data = client.get(address, headers=JSON)
        assert data.headers["content-type"] == "application/json", address
        assert isinstance(data.json(), dict), address


def test_nothing_is_done_without_signing_in(seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    with TestClient(create_app(seeded.works)) as stranger:
        for address in addresses(seeded):
            assert stranger.get(address, headers=JSON).status_code == 401
        before = len(seeded.works.book.events())
        for address in (f"/release/{lot}/hold", "/pack", "/ship", "/blend", "/plan/now"):
            answer = stranger.post(address, data={"reason": "x"}, follow_redirects=False)
            assert answer.headers["location"].startswith("/sign-in")
        assert len(seeded.works.book.events()) == before


def test_a_result_is_kept_with_half_of_the_printed_uncertainty(as_who: Any, seeded: Seeded) -> None:
    """Reports print the expanded uncertainty, k = 2 (JCGM 100:2008, 6.2.1 and 6.3.3)."""
    lab, sample, lot = as_who("mirel"), sample_of(seeded), seeded.lots["flake"]
    page = text(lab.get(f"/bench?lot={lot}", headers=HTML).text)
    assert sample in page and "What was found?" in page
    typed = {
        "parameter": "iodine",
        "value": "612,5",
        "uncertainty": "10",
        "uncertainty_in": "%",
        "unit": "mg/kg",
        "basis": "dry",
        "moisture_wb": "9.8",
        "laboratory": "Hollow Bay",
        "document": "HB 12",
    }
    answer = lab.post(f"/bench/{sample}", data=typed)
    assert answer.status_code == 200 and "Kept: iodine" in answer.text
    found = seeded.works.book.events_in_force(kind="result", lot_id=lot)[-1]
    assert found.facts["value"] == 612.5
    assert found.facts["standard_uncertainty"] == pytest.approx(0.05 * 612.5)
    assert found.facts["moisture_wb"] == pytest.approx(0.098)
    assert found.document == "HB 12"
    # With no uncertainty printed the last one is taken, in proportion.
    lab.post(f"/bench/{sample}", data={**typed, "value": "400", "uncertainty": ""})
    again = seeded.works.book.events_in_force(kind="result", lot_id=lot)[-1]
    assert again.facts["standard_uncertainty"] == pytest.approx(20.0)
    assert bench.waiting(seeded.works) == []


def test_a_result_that_cannot_be_is_refused_at_its_field(as_who: Any, seeded: Seeded) -> None:
    lab, sample = as_who("mirel"), sample_of(seeded)
    typed = {"parameter": "nickel", "value": "lots", "unit": "mg/kg", "basis": "dry"}
    answer = lab.post(f"/bench/{sample}", data=typed)
    assert answer.status_code == 422
    said = text(answer.text)
    assert "it must be a number" in said and "no earlier result tells" in said
    assert "nickel" in answer.text
    operator = as_who("runa")
    refused = operator.post(f"/bench/{sample}", data={**typed, "value": "1", "uncertainty": "5"})
    assert refused.status_code == 403
    assert not seeded.works.book.events(kind="result")


def test_a_sample_is_taken_at_the_bench(as_who: Any, seeded: Seeded) -> None:
    lab, lot = as_who("mirel"), seeded.lots["flake"]
    before = seeded.works.book.lot(lot).remaining_mass_g
    answer = lab.post("/bench/sample", data={"lot_id": lot, "mass_g": "150", "press": "one"})
    assert "write that on the bag" in answer.text
    lab.post("/bench/sample", data={"lot_id": lot, "mass_g": "150", "press": "one"})  # wet finger
    assert seeded.works.book.lot(lot).remaining_mass_g == before - 150
    refused = lab.post("/bench/sample", data={"lot_id": lot, "mass_g": "9e9"})
    assert refused.status_code == 422 and "to sample from" in refused.text


def test_the_release_page_answers_first_and_says_who_may(as_who: Any, seeded: Seeded) -> None:
    manager, lot = as_who("ilsa"), seeded.lots["flake"]
    said = text(manager.get(f"/release/{lot}", headers=HTML).text)
    for market in ("France", "European Union", "Australia"):
        assert f"May not go to {market}, because" in said
    assert "no result for iodine" in said
    assert "A limit not read in the act only warns" in said
    shown = manager.get(f"/release/{lot}", headers=JSON).json()
    assert {m["market"]["id"] for m in shown["markets"]} == {"FR", "EU", "AU"}
    answer = manager.post(f"/release/{lot}/sign", data={"markets": "AU"})
    assert answer.status_code == 403 and "quality_manager" in answer.text


def test_a_lot_goes_only_where_it_may(as_who: Any, seeded: Seeded) -> None:
    quality, lot = as_who("bex"), seeded.lots["flake"]
    refused = quality.post(f"/release/{lot}/sign", data={"markets": "AU"})
    assert refused.status_code == 422 and seeded.works.book.lot(lot).released_for == ()
    sample = sample_of(seeded)
    for parameter, value in (("iodine", 400.0), ("inorganic_arsenic", 0.2)):
        found = bench.Found(parameter, value, 0.05 * value, "mg/kg", "dry", 0.1)
        bench.record_result(seeded.works, "mirel", lot, sample, found)
    said = text(quality.get(f"/release/{lot}", headers=HTML).text)
    assert "May go to Australia" in said and "May not go to France" in said
    answer = quality.post(f"/release/{lot}/sign", data={"markets": "AU"})
    assert "is released for AU" in answer.text
    assert seeded.works.book.lot(lot).released_for == ("AU",)
    held = quality.post(f"/release/{lot}/hold", data={"reason": "shell found"})
    assert "On hold:" in held.text
    assert seeded.works.book.lot(lot).released_for == ()


def test_a_text_is_confirmed_once_for_all_lots(as_who: Any, seeded: Seeded) -> None:
    lot, limit = seeded.lots["flake"], "EU-seaweed-nickel"
    data = {"limit_id": limit, "text": "Regulation read, Annex I 3.6"}
    assert as_who("mirel").post(f"/release/{lot}/confirm", data=data).status_code == 403
    quality = as_who("bex")
    assert quality.post(f"/release/{lot}/confirm", data={**data, "text": " "}).status_code == 422
    assert "It counts for every lot" in quality.post(f"/release/{lot}/confirm", data=data).text
    shown = quality.get("/settings?part=limits&market=EU", headers=HTML).text
    assert "Regulation read, Annex I 3.6" in shown
    assert [c.limit_id for c in release_lot.confirmations(seeded.works)] == [limit]


def test_weights_are_checked_before_packing_is_recorded(as_who: Any, seeded: Seeded) -> None:
    packer, lot = as_who("jorun"), seeded.lots["flake"]
    good = " ".join(f"{501.0 + 0.5 * (i % 3):.1f}" for i in range(PACKS))
    form = {
        "product": "kelp-flake-500",
        "lot_ids": lot,
        f"kg {lot}": "30.1",
        "packs": str(PACKS),
        "net_g": good,
        "scale": "kelp-pack-balance",
    }
    looked = packer.post("/pack", data={**form, "do": "check"})
    said = text(looked.text)
    assert looked.status_code == 200
    assert "The packs hold what they say" in said and "Keeps dry for" in said
    assert "Step by step" in said and not seeded.works.book.events(kind="pack")
    short = good.replace("501.0", "470.0")
    assert (
        "The packs are short"
        in packer.post("/pack", data={**form, "net_g": short, "do": "check"}).text
    )
    wrong = packer.post("/pack", data={**form, "net_g": "500 about", "do": "check"})
    assert wrong.status_code == 422 and "is no number" in text(wrong.text)
    few = packer.post("/pack", data={**form, "net_g": "500 501", "do": "check"})
    assert few.status_code == 422 and "weighed pack by pack" in few.text

    made = packer.post("/pack", data={**form, "do": "record"})
    assert made.status_code == 200 and "The packs hold what they say" in made.text
    packed = made.url.path.removeprefix("/pack/")
    assert seeded.works.book.lot(packed).attributes["packs"] == PACKS
    assert packer.get(f"/pack/{lot}", headers=HTML).status_code == 422
    _ship_ten_packs(as_who, seeded, packed)


def _ship_ten_packs(as_who: Any, seeded: Seeded, packed: str) -> None:
    site = seeded.works.book.lot(packed).site
    free = {"lot_id": packed, "markets": ["AU"]}
    record(seeded.works, Entry(kind="release", site=site, who="bex", facts=free))
    packer = as_who("jorun")
    assert f'name="packs {packed}"' in packer.get("/ship?customer=southrim", headers=HTML).text
    data = {"customer": "southrim", "lot_ids": packed}
    half = packer.post("/ship", data={**data, f"packs {packed}": "2.5"})
    assert half.status_code == 422 and "give a whole number" in half.text
    assert packer.post("/ship", data={**data, f"packs {packed}": "10"}).status_code == 200
    (sent,) = seeded.works.book.events(kind="ship")
    assert sent.event.facts["packs"] == {packed: 10}


def test_only_lots_for_the_customers_market_can_be_ticked(as_who: Any, seeded: Seeded) -> None:
    lot = released(seeded, "AU")
    packer = as_who("jorun")
    assert f'value="{lot}"' in packer.get("/ship?customer=southrim", headers=HTML).text
    assert f'value="{lot}"' not in packer.get("/ship?customer=merrow", headers=HTML).text
    data = {"lot_ids": lot, f"kg {lot}": "12.5", "vehicle": "van", "document": "D 1"}
    refused = packer.post("/ship", data={**data, "customer": "merrow"})
    assert refused.status_code == 422 and "Not shipped" in refused.text
    sent = packer.post("/ship", data={**data, "customer": "southrim"})
    assert "Shipped: 12.5 kg to Southrim Pantry" in sent.text
    assert seeded.works.book.events(kind="ship")[0].event.inputs[0].mass_g == 12500


def test_a_blend_is_proposed_made_and_stays_in_the_book(as_who: Any, seeded: Seeded) -> None:
    packer, lot = as_who("jorun"), seeded.lots["flake"]
    asked = "/blend?product=kelp-flake-500&mass_kg=10&high+moisture_wb=11"
    shown = packer.get(asked, headers=JSON).json()
    draws = shown["proposal"]["orders"][0]["draws"]
    assert [d["lot_id"] for d in draws] == [lot]
    assert sum(d["mass_kg"] for d in draws) == pytest.approx(10.0)
    page = packer.get(asked, headers=HTML).text
    assert "Make this blend" in page and f'name="draw {lot}"' in page
    none = text(packer.get(asked.replace("=11", "=2"), headers=HTML).text)
    assert "No blend keeps all of this" in none and "moisture at most 2 %" in none.lower()
    drawn = {"product": "kelp-flake-500", f"draw {lot}": "10.000", "document": "BL-8"}
    made = packer.post("/blend", data=drawn)
    assert "It needs its own release" in made.text
    blend = seeded.works.book.lots(form="blended")[0]
    assert blend.mass_g == 10000
    assert seeded.works.book.event_in_force(blend.made_by).document == "BL-8"
    refused = packer.post("/blend", data={"product": "kelp-flake-500", f"draw {lot}": "9000"})
    assert refused.status_code == 422


def test_a_load_is_announced_and_taken_back(as_who: Any, seeded: Seeded) -> None:
    clerk, works = as_who("teo"), seeded.works
    at = works.now() + timedelta(hours=3)
    form = {"source": "line-01", "mass_kg": "700", "arrives_at": f"{at:%Y-%m-%dT%H:%M}"}
    assert "Announced: 700 kg from Skarrin line 1" in clerk.post("/plan/announce", data=form).text
    listed = expected(works, "kelp", works.now(), at + timedelta(hours=1))
    assert [round(x.mass_kg) for x in listed] == [700]
    back = clerk.post("/plan/withdraw", data={"expected_id": listed[0].expected_id})
    assert "That load is taken back" in back.text and "No load is announced" in back.text
    late = clerk.post("/plan/announce", data={**form, "arrives_at": ""})
    assert late.status_code == 422 and "choose a time" in late.text


def test_an_operator_notes_a_machine_that_is_down(as_who: Any, seeded: Seeded) -> None:
    """Only the manager plans; the note alone is kept, and the manager is told."""
    operator, works = as_who("runa"), seeded.works
    until = works.now() + timedelta(hours=4)
    form = {"machine": "belt-2", "until_at": f"{until:%Y-%m-%dT%H:%M}", "note": "belt torn"}
    assert "Tell the manager to plan" in operator.post("/plan/down", data=form).text
    assert [o.machine_id for o in plan_day.outages(works, "kelp")] == ["belt-2"]
    assert operator.post("/plan/now").status_code == 403
    assert "in order again" in operator.post("/plan/up", data={"machine": "belt-2"}).text
    assert plan_day.outages(works, "kelp") == ()


@pytest.mark.slow
def test_the_day_is_planned_and_planned_around_a_breakdown(as_who: Any, seeded: Seeded) -> None:
    manager, works = as_who("ilsa"), seeded.works
    assert "There is no plan for" in manager.get("/plan", headers=HTML).text
    planned = manager.post("/plan/now")
    said = text(planned.text)
    assert planned.status_code == 200 and "Planned anew." in said
    assert "What limits the day" in said and "surely fits" in said
    assert planned.text.count('class="strip"') >= 1
    plan = plan_day.stored_plan(works, "kelp")
    assert plan is not None
    for run in plan.runs:
        assert run.machine in said
    soon = works.now() + timedelta(hours=2)
    room = manager.get(f"/plan?room=line-01&room_at={soon:%Y-%m-%dT%H:%M}", headers=JSON).json()
    assert 0.0 < room["room"]["certain_kg"] <= room["room"]["at_most_kg"] + 1e-6
    until = works.now() + timedelta(hours=5)
    down = {"machine": "bath-1", "until_at": f"{until:%Y-%m-%dT%H:%M}"}
    again = manager.post("/plan/down", data=down)
    assert "Planned around it" in again.text and "out of order" in again.text
    after = plan_day.stored_plan(works, "kelp")
    assert after is not None
    bath = [r for r in after.runs if r.machine_id == "bath-1" and not r.running]
    assert all(r.start_at >= until.replace(second=0, microsecond=0) for r in bath)


def test_the_watch_tells_what_is_loud_and_what_is_quiet(client: TestClient, seeded: Seeded) -> None:
    shown = client.get("/watch", headers=JSON).json()
    loud = {f["kind"] for f in shown["findings"]}
    assert loud.isdisjoint(shown["quiet"])
    assert loud | set(shown["quiet"]) == {
        "weight", "meter", "wet", "limit", "fill", "balance", "reconcile", "seal",
    }  # fmt: skip
    assert "seal" in shown["quiet"]
    said = text(client.get("/watch", headers=HTML).text)
    assert "Looked at, nothing found" in said


def test_the_balance_page_adds_up(client: TestClient, seeded: Seeded) -> None:
    """In = shipped + losses + stock change + unexplained, to the gram (conservation of mass)."""
    shown = client.get("/balance", headers=JSON).json()
    assert len(shown["days"]) == 14
    for side in (shown["balance"]["dry"], shown["balance"]["mass"]):
        went = side["shipped_g"] + sum(side["losses_g"].values()) + side["moved_out_g"]
        assert side["taken_in_g"] + side["moved_in_g"] == (
            went + side["stock_change_g"] + side["unexplained_g"]
        )
    assert shown["balance"]["dry"]["taken_in_g"] > 0
    tomorrow = seeded.works.now() + timedelta(days=1)
    assert "week is not over" in client.get("/balance?fit=week", headers=HTML).text
    assert "week is not over" not in client.get("/balance", headers=HTML).text
    assert client.get("/balance?fit=year", headers=HTML).status_code == 422
    refused = client.get(f"/balance?day={tomorrow:%Y-%m-%d}", headers=HTML)
    assert refused.status_code == 422 and "has not come yet" in refused.text
    assert client.get("/balance?day=soon", headers=HTML).status_code == 422


def test_the_balance_page_names_a_split_that_does_not_fit(
    client: TestClient, seeded: Seeded
) -> None:
    """A split whose parts weigh 20 kg more than what went in, each to 100 g."""
    assert client.get("/balance", headers=JSON).json()["fit"]["doubts"] == []
    now = seeded.works.now()
    sds = {"mass_sd_g": 100.0, "dry_sd_g": 400.0}
    when = {"site": "kelp", "happened_at": now, "recorded_at": now}
    load = event("E1", "intake", 0, outputs=[made("K1", 1_000_000, 100_000, **sds)], **when)
    parts = [made("A", 500_000, 50_000, **sds), made("B", 520_000, 52_000, **sds)]
    parted = event("E2", "split", 0, inputs=[("K1", 1_000_000, 100_000)], outputs=parts, **when)
    seeded.works.book.append_many([load, parted], now=now)
    for span in ("", "week", "season"):
        address = f"/balance?fit={span}"
        doubts = client.get(address, headers=JSON).json()["fit"]["doubts"]
        wet = next(d for d in doubts if d["quantity"] == "mass")
        assert abs(wet["fitted_g"] - wet["booked_g"]) == pytest.approx(20_000.0)
        page = client.get(address, headers=HTML).text
        assert all(f'href="/lots/{lot}"' in page for lot in ("K1", "A", "B"))
        entry = f"/lots/{wet['lot_id']}/correct/{wet['event_id']}"
        assert f'href="{entry}"' in page
        assert client.get(entry, headers=HTML).status_code == 200


def test_settings_show_every_figure_with_its_evidence(client: TestClient) -> None:
    shown = client.get("/settings?part=leaf&leaf=sugar_kelp_blanched", headers=JSON).json()
    page = text(client.get("/settings?part=leaf&leaf=sugar_kelp_blanched", headers=HTML).text)
    assert len(shown["leaf"]) > 20
    for figure, cite in shown["leaf"]:
        assert figure["evidence"] and cite
        assert figure["quantity"].replace("_", " ") in page
    assert client.get("/settings?part=leaf&leaf=spinach", headers=HTML).status_code == 422
    assert client.get("/settings?part=secrets", headers=HTML).status_code == 422
    assert client.get("/settings?part=limits&market=XX", headers=HTML).status_code == 422
    assert "pin" not in client.get("/settings?part=people", headers=HTML).text.lower()
