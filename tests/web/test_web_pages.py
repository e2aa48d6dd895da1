"""Pages over HTTP: they open, record, refuse with a sentence, and speak JSON."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from starlette.testclient import TestClient
from web_works import PIN, Seeded, sign_in

from wareleaf.web import tries
from wareleaf.web.app import create_app

HTML = {"accept": "text/html"}


def text(html: str) -> str:
    """What a person reads on a page."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def addresses(seeded: Seeded) -> list[str]:
    lots, runs = seeded.lots, seeded.runs
    return [
        "/",
        "/intake",
        f"/intake?made={lots['tea b']}",
        "/floor",
        f"/floor?lot={lots['washed b']}",
        f"/floor/load/bath-1?lot_ids={lots['washed b']}",
        f"/floor/load/trough-2?lot_ids={lots['tea b']}&do=look",
        f"/floor/load/trough-2?lot_ids={lots['tea b']}&do=aim",
        f"/floor/run/{runs['trough']}",
        f"/floor/run/{runs['belt']}",
        "/lots",
        "/lots?all=1&form=flake&status=open",
        f"/lots/{lots['flake']}",
        f"/lots/{lots['flake2']}",
        "/trace",
        f"/trace/{lots['kelp']}",
        f"/trace/{lots['flake']}",
    ]


def test_every_page_opens_in_both_forms(client: TestClient, seeded: Seeded) -> None:
    for address in addresses(seeded):
        page = client.get(address, headers=HTML)
        assert page.status_code == 200, address
        assert "<h1" in page.text, address
        policy = page.headers["content-security-policy"]
        assert "default-src 'self'" in policy and "script-src" not in policy
        assert not re.search(r"<script(?![^>]*\bsrc=)", page.text), f"inline script on {address}"
        assert not re.search(r"\son[a-z]+=", page.text), f"inline handler on {address}"
        assert not re.search(r'(?:src|href)="https?:', page.text), f"outside address on {address}"
        data = client.get(address, headers={"accept": "application/json"})
        assert data.headers["content-type"] == "application/json", address
        assert isinstance(data.json(), dict), address


def test_format_json_is_the_same_as_the_accept_header(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    asked = client.get(f"/lots/{lot}?format=json").json()
    assert asked == client.get(f"/lots/{lot}", headers={"accept": "application/json"}).json()
    assert asked["lot"]["lot_id"] == lot
    assert asked["lot"]["remaining_mass_g"] == 38000 - 200  # as weighed off, less the sample


def test_nothing_is_seen_without_signing_in(seeded: Seeded) -> None:
    with TestClient(create_app(seeded.works)) as stranger:
        for address in addresses(seeded):
            answer = stranger.get(address, headers=HTML, follow_redirects=False)
            assert answer.status_code == 303
            assert answer.headers["location"].startswith("/sign-in?then=")
            assert stranger.get(address, headers={"accept": "application/json"}).status_code == 401
        refused = stranger.post("/intake", data={}, follow_redirects=False)
        assert refused.status_code == 303
        assert len(seeded.works.book.events(kind="intake")) == 5


def test_a_wrong_pin_is_refused_and_the_name_is_kept(seeded: Seeded) -> None:
    with TestClient(create_app(seeded.works)) as stranger:
        answer = stranger.post("/sign-in", data={"who": "teo", "pin": "1357"})
        assert answer.status_code == 422
        assert "do not go together" in answer.text
        assert re.search(r'value="teo" required\s+checked', answer.text)
        inside = stranger.post(
            "/sign-in",
            data={"who": "teo", "pin": PIN, "then": "//elsewhere.example/"},
            follow_redirects=False,
        )
        assert inside.headers["location"] == "/"


def test_guessing_pins_is_slowed_down(seeded: Seeded, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [1000.0]
    monkeypatch.setattr(tries.time, "monotonic", lambda: clock[0])
    monkeypatch.setattr(tries, "_WRONG", {})
    with TestClient(create_app(seeded.works)) as stranger:
        for _ in range(tries.FREE):
            wrong = stranger.post("/sign-in", data={"who": "runa", "pin": "0000"})
            assert wrong.status_code == 422
        right = {"who": "runa", "pin": PIN}
        slowed = stranger.post("/sign-in", data=right)
        assert slowed.status_code == 429 and "Wait 30 s" in slowed.text
        sign_in(stranger, "teo")  # another name is not held up
        clock[0] += tries.WAIT_S + 1.0
        assert stranger.post("/sign-in", data=right, follow_redirects=False).status_code == 303


LOAD = {
    "source": "line-05",
    "gross_kg": "512,5",
    "tare_kg": "40",
    "meter": "quay-scale",
    "moisture_wb": "91.5",
    "moisture_meter": "kelp-quick",
    "ticket_kg": "470",
}


def test_a_load_is_taken_in(client: TestClient, seeded: Seeded) -> None:
    answer = client.post("/intake", data=LOAD)
    assert answer.status_code == 200
    made = str(answer.url).split("made=")[1]
    assert f'<div class="lotname">{made}</div>' in answer.text
    assert "Put it on Wash tank" in answer.text
    lot = seeded.works.book.lot(made)
    assert lot.mass_g == 472_500  # 512.5 kg less 40 kg of bins
    assert lot.moisture_wb == pytest.approx(0.915, abs=2e-6)  # dry matter is whole grams
    again = client.get("/intake")
    assert re.search(r'name="tare_kg" value="40"', again.text), "the tare stands there next time"


def test_one_press_records_once(client: TestClient, seeded: Seeded) -> None:
    press = re.search(r'name="press" value="(\w+)"', client.get("/intake").text)
    assert press
    first = client.post("/intake", data={**LOAD, "press": press.group(1)})
    second = client.post("/intake", data={**LOAD, "press": press.group(1)})
    assert first.url == second.url
    assert len(seeded.works.book.events(kind="intake")) == 6


def test_bad_loads_say_what_is_wrong_and_keep_what_was_typed(
    client: TestClient, seeded: Seeded
) -> None:
    bad = {**LOAD, "source": "", "gross_kg": "heavy", "moisture_wb": "0.9", "ticket_kg": "471"}
    answer = client.post("/intake", data=bad)
    assert answer.status_code == 422
    said = text(answer.text)
    assert "No line or field is picked" in said
    assert "Full weight is &#39;heavy&#39;; it must be a number such as 12.5." in said
    assert "type percent, such as 90 for 90 %" in said
    assert 'value="heavy"' in answer.text
    assert 'value="471"' in answer.text
    assert answer.text.count('aria-invalid="true"') == 2  # the two typed fields
    light = client.post("/intake", data={**LOAD, "gross_kg": "30"})
    assert light.status_code == 422
    assert "Full weight 30 less tare and surface water leaves" in text(light.text)
    as_json = client.post("/intake", data=bad, headers={"accept": "application/json"})
    assert as_json.status_code == 422
    assert [p["field"] for p in as_json.json()["error"]] == ["source", "moisture_wb", "gross_kg"]
    assert len(seeded.works.book.events(kind="intake")) == 5


@pytest.mark.parametrize(
    ("typed", "kilograms"),
    [("512,5", 512.5), ("1 250", 1250.0), ("0,125", 0.125), ("1250.5", 1250.5)],
)
def test_numbers_are_read_as_people_type_them(
    client: TestClient, seeded: Seeded, typed: str, kilograms: float
) -> None:
    answer = client.post("/intake", data={**LOAD, "gross_kg": typed, "tare_kg": ""})
    made = str(answer.url).split("made=")[1]
    assert seeded.works.book.lot(made).mass_g == round(kilograms * 1000)


@pytest.mark.parametrize("typed", ["1,250", "nan", "inf", "1e300", "12 kg", "--", "0x10", "٣٤x"])
def test_numbers_with_two_meanings_or_none_are_refused(
    client: TestClient, seeded: Seeded, typed: str
) -> None:
    answer = client.post("/intake", data={**LOAD, "gross_kg": typed})
    assert answer.status_code == 422
    assert "Full weight is" in text(answer.text)
    assert len(seeded.works.book.events(kind="intake")) == 5


@pytest.mark.parametrize("note", ["x" * 5000, "a\x00b"])
def test_text_that_is_no_line_is_refused(client: TestClient, seeded: Seeded, note: str) -> None:
    answer = client.post("/intake", data={**LOAD, "note": note})
    assert answer.status_code == 422
    assert len(seeded.works.book.events(kind="intake")) == 5


def test_a_ticket_that_disagrees_is_asked_about(client: TestClient, seeded: Seeded) -> None:
    taken = {t["lot_id"]: t for t in client.get("/intake?format=json").json()["taken"]}
    far, near = taken[seeded.lots["kelp b"]], taken[seeded.lots["kelp"]]
    assert far["ask_about_ticket"] and far["ticket_less_ours_kg"] == pytest.approx(55.0)
    assert not near["ask_about_ticket"]
    assert not far["measured"] and near["measured"]


def test_a_role_that_does_not_cover_the_job_is_refused(seeded: Seeded) -> None:
    with TestClient(create_app(seeded.works)) as packer:
        sign_in(packer, "jorun")
        answer = packer.post("/intake", data=LOAD)
        assert answer.status_code == 403
        assert "Jorun Pake (packer) may not take in leaf" in text(answer.text)
        lot = seeded.lots["flake2"]
        freed = packer.post(f"/lots/{lot}/free", data={"reason": "looks fine"})
        assert freed.status_code == 403
        assert seeded.works.book.lot(lot).held_because == "smells burnt"


def test_a_form_from_elsewhere_is_refused(client: TestClient, seeded: Seeded) -> None:
    answer = client.post("/intake", data=LOAD, headers={"origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    own = client.post("/intake", data=LOAD, headers={"origin": "http://testserver"})
    assert own.status_code == 200
    assert len(seeded.works.book.events(kind="intake")) == 6


def test_leaf_is_looked_at_put_on_read_and_taken_off(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["tea b"]
    ask = {"lot_ids": lot, "target_moisture_wb": "67", "heating_k": "1"}
    ahead = client.get("/floor/load/trough-2", params={**ask, "do": "look", "format": "json"})
    seen = ahead.json()["ahead"]
    assert seen["moisture_wb_out"] == pytest.approx(0.67)
    # dry matter is kept: mass out follows from mass in and the two moistures
    charge = seeded.works.book.lot(lot)
    assert seen["mass_out_kg"] == pytest.approx(charge.dry_g / 1000.0 / 0.33, rel=1e-6)
    started = client.post("/floor/load/trough-2", data=ask)
    assert started.status_code == 200 and "/floor/run/R-" in str(started.url)
    run = str(started.url).rsplit("/", 1)[1]
    seeded.clock.later(2.0)
    wrong = client.post(f"/floor/run/{run}/reading", data={"meter": "tea-quick", "value": "0.74"})
    assert wrong.status_code == 422 and "type percent, such as 74" in text(wrong.text)
    read = client.post(f"/floor/run/{run}/reading", data={"meter": "tea-quick", "value": "74"})
    assert "Reading kept: Quick moisture meter T 74 %." in text(read.text)
    seeded.clock.later(8.0)
    off = {
        "mass_kg_1": "405",
        "moisture_wb_1": "68.5",
        "scale": "tea-floor-scale",
        "moisture_meter": "tea-quick",
        "place": "rolling room",
    }
    done = client.post(f"/floor/run/{run}/off", data=off)
    assert done.status_code == 200
    data = client.get(f"/floor/run/{run}?format=json").json()
    (made,) = data["made"]
    assert (made["form"], made["place"], made["mass_g"]) == ("withered", "rolling room", 405_000)
    assert seeded.works.book.lot(lot).status == "used"
    twice = client.post(f"/floor/run/{run}/off", data=off)
    assert twice.status_code == 422 and "was finished already" in text(twice.text)


def test_settings_are_refused_in_the_units_of_people(client: TestClient, seeded: Seeded) -> None:
    ask = {"lot_ids": seeded.lots["tea b"], "target_moisture_wb": "40", "heating_k": "0"}
    answer = client.post("/floor/load/trough-2", data=ask)
    assert answer.status_code == 422
    assert "Stop at moisture is 40 % wb; it must be from 50 to 76 % wb." in text(answer.text)
    assert 'value="40"' in answer.text
    none = client.post("/floor/load/trough-2", data={"target_moisture_wb": "68"})
    assert none.status_code == 422 and "Choose at least one lot" in text(none.text)


def test_several_grades_come_off_one_run(client: TestClient, seeded: Seeded) -> None:
    started = client.post("/floor/load/mill-1", data={"lot_ids": seeded.lots["flake"]})
    run = str(started.url).rsplit("/", 1)[1]
    seeded.clock.later(0.5)
    off = {
        "mass_kg_1": "25",
        "moisture_wb_1": "10",
        "form_1": "flake",
        "mass_kg_2": "12.5",
        "moisture_wb_2": "9.9",
        "form_2": "powder",
        "scale": "kelp-floor-scale",
        "moisture_meter": "kelp-quick",
    }
    client.post(f"/floor/run/{run}/off", data=off)
    made = client.get(f"/floor/run/{run}?format=json").json()["made"]
    assert sorted(m["form"] for m in made) == ["flake", "powder"]


def test_lots_are_found_by_what_stands_on_the_label(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["washed b"]
    exact = client.get(f"/lots?q={lot.lower()}", headers=HTML, follow_redirects=False)
    assert exact.headers["location"] == f"/lots/{lot}"
    scanned = client.get(f"/trace?q=http://works/lots/{lot}", headers=HTML, follow_redirects=False)
    assert scanned.headers["location"] == f"/trace/{lot}"
    label = client.get("/lots?q=skarrin line 2&format=json").json()
    assert [found["lot_id"] for found in label["lots"]] == [lot]
    used = client.get("/lots?q=skarrin line 2&all=1&format=json").json()
    assert used["total"] == 2  # the fresh lot, used up, and the washed one
    assert "No lot fits" in client.get("/lots?q=nothing-like-this").text
    unknown = client.get("/lots/K9-0000-00", headers=HTML)
    assert unknown.status_code == 422
    assert "There is no lot K9-0000-00" in text(unknown.text)


def test_lots_are_handled(client: TestClient, seeded: Seeded) -> None:
    book, lot = seeded.works.book, seeded.lots["flake"]
    assert "S-" in client.post(f"/lots/{lot}/sample", data={"mass_g": "150"}).text
    assert book.lot(lot).remaining_mass_g == 38000 - 200 - 150
    client.post(f"/lots/{lot}/hold", data={"reason": "wet bag"})
    assert book.lot(lot).held_because == "wet bag"
    silent = client.post(f"/lots/{lot}/write-off", data={"mass_kg": "1", "reason": ""})
    assert silent.status_code == 422 and "say why it is wasted" in text(silent.text)
    assert 'value="1"' in silent.text
    client.post(f"/lots/{lot}/write-off", data={"mass_kg": "1", "reason": "wet"})
    assert book.lot(lot).remaining_mass_g == 36650
    parts = {"part_1": "10", "part_2": "5", "rest": "stays", "scale": "kelp-floor-scale"}
    split = client.post(f"/lots/{lot}/split", data=parts)
    first = str(split.url).rsplit("/", 1)[1]
    assert book.lot(first).mass_g == 10_000
    assert book.lot(first).held_because.endswith("wet bag"), "a hold travels"
    assert book.lot(lot).remaining_mass_g == 21650
    over = client.post(f"/lots/{lot}/split", data={"part_1": "90", "rest": "stays"})
    assert over.status_code == 422
    joined = client.post(f"/lots/{lot}/combine", data={"lot_ids": first})
    assert book.lot(str(joined.url).rsplit("/", 1)[1]).mass_g == 31_650


def test_a_correction_leaves_both_readable(client: TestClient, seeded: Seeded) -> None:
    book, lot = seeded.works.book, seeded.lots["tea b"]
    event = book.lot(lot).made_by
    address = f"/lots/{lot}/correct/{event}"
    assert 'value="580"' in client.get(address).text
    data = {f"mass_kg {lot}": "560", f"moisture_wb {lot}": "78", "reason": "read the wrong line"}
    nameless = client.post(address, data={**data, "reason": ""})
    assert nameless.status_code == 422 and 'value="560"' in nameless.text
    page = client.post(address, data=data)
    assert book.lot(lot).mass_g == 560_000
    said = text(page.text)
    assert "as written before no." in said and "correction of no." in said
    assert "580 kg" in said and "560 kg" in said
    again = client.get(address)
    assert again.status_code == 422 and "was corrected already" in text(again.text)
    second = re.search(rf"/lots/{lot}/correct/(?!{event})(\w+)", page.text)
    assert second
    client.post(f"/lots/{lot}/correct/{second.group(1)}", data={**data, f"mass_kg {lot}": "561"})
    assert book.lot(lot).mass_g == 561_000, "a correction can be corrected"
    assert book.verify().ok


def test_a_corrected_stage_closes_its_water_again(client: TestClient, seeded: Seeded) -> None:
    book, lot = seeded.works.book, seeded.lots["washed b"]
    event = book.lot(lot).made_by
    data = {f"mass_kg {lot}": "500", f"moisture_wb {lot}": "91.8", "reason": "misread"}
    client.post(f"/lots/{lot}/correct/{event}", data=data)
    fixed = next(e for e in book.events_in_force(lot_id=lot) if e.event_id == event)
    water_in = sum(d.mass_g - d.dry_g for d in fixed.inputs)
    water_out = sum(p.mass_g - p.dry_g for p in (*fixed.outputs, *fixed.streams))
    assert fixed.outputs[0].mass_g == 500_000
    assert water_in == water_out


def test_the_trace_adds_up(client: TestClient, seeded: Seeded) -> None:
    data = client.get(f"/trace/{seeded.lots['kelp']}?format=json").json()
    balance = data["balance"]
    assert balance["made_kg"] == pytest.approx(60.0)  # 600 kg at 90 %
    parts = balance["in_stock_kg"] + balance["shipped_kg"] + balance["gone_kg"]
    assert parts == pytest.approx(balance["made_kg"], abs=1e-9)
    back = client.get(f"/trace/{seeded.lots['flake']}?format=json").json()["trace"]
    assert [o["source_id"] for o in back["origins"]] == ["line-01"]
    assert sum(o["share"] for o in back["origins"]) == pytest.approx(1.0)
    page = client.get(f"/trace/{seeded.lots['kelp']}").text
    for name in ("washed", "blanched", "dried", "flake", "flake2"):
        assert f'href="/trace/{seeded.lots[name]}"' in page


def test_a_trace_as_known_then_says_so_and_keeps_to_it(client: TestClient, seeded: Seeded) -> None:
    kelp, flake = seeded.lots["kelp"], seeded.lots["flake"]
    zone = seeded.works.settings.zone
    early = seeded.works.book.lot(kelp).made_at.astimezone(zone).strftime("%Y-%m-%dT%H:%M")
    then = seeded.works.book.lot(kelp).made_at + timedelta(minutes=2)
    known_on = then.astimezone(zone).strftime("%Y-%m-%dT%H:%M")
    page = client.get(f"/trace/{kelp}", params={"known_on": known_on}, headers=HTML)
    assert page.status_code == 200 and "As known on" in page.text and flake not in page.text
    assert f'href="/trace/{kelp}?known_on=' in page.text
    assert flake in client.get(f"/trace/{kelp}", headers=HTML).text
    bad = client.get(f"/trace/{flake}", params={"known_on": early}, headers=HTML)
    assert bad.status_code == 422 and "in the book" in bad.text
    assert client.get(f"/trace/{flake}", params={"known_on": "noon"}).status_code == 422


def test_the_day_lists_what_needs_someone_by_deadline(client: TestClient, seeded: Seeded) -> None:
    client.post("/site", data={"site": "tea"})
    day = client.get("/?format=json").json()
    assert [a["by"] for a in day["acts"]] == sorted(a["by"] for a in day["acts"])
    assert day["acts"][0]["link"] == f"/floor/run/{seeded.runs['trough']}"
    page = client.get("/").text
    assert page.index("What needs someone") < page.index("On the floor") < page.index("Leaf that")
    assert "Moisture now about" in page  # the moisture run, in words
    seeded.clock.later(12.0)
    assert client.get("/?format=json").json()["acts"][0]["urgency"] == "late"


def test_a_name_with_marks_in_it_is_only_text(client: TestClient, seeded: Seeded) -> None:
    lot = seeded.lots["flake"]
    nasty = "<script>alert(1)</script>"
    client.post(f"/lots/{lot}/hold", data={"reason": nasty})
    for address in (f"/lots/{lot}", "/lots", "/"):
        assert nasty not in client.get(address).text
    assert "&lt;script&gt;" in client.get(f"/lots/{lot}").text
    assert nasty not in client.get("/trace", params={"q": nasty}).text


def test_an_address_that_is_not_there_leads_back_by_a_page(client: TestClient) -> None:
    for address in ("/nowhere", "/pallets"):
        page = client.get(address, headers=HTML)
        assert page.status_code in (404, 405)
        assert f"There is no page at {address}; take one from the menu." in text(page.text)
        assert 'href="/"' in page.text
        data = client.get(address, headers={"accept": "application/json"})
        assert data.status_code == page.status_code
        assert data.json()["detail"]
    assert client.get("/static/nowhere.css", headers=HTML).text.startswith("{")
