"""The leaf room's tables: every number has a source that exists, and works can bring their own."""

import csv
from dataclasses import FrozenInstanceError
from importlib import resources

import pytest

from wareleaf import leaf
from wareleaf.leaf.profiles import BOUNDS
from wareleaf.measure import BadInput, Evidence, read_figures, read_sources

PACKAGE = "wareleaf.leaf"
TABLES = ("profile", "sorption", "kinetics", "composition", "contents", "salt")
COLUMNS = [
    "subject",
    "quantity",
    "value",
    "unit",
    "basis",
    "valid_range",
    "source",
    "place",
    "evidence",
    "note",
]


def rows(table: str) -> list[dict[str, str]]:
    text = resources.files(PACKAGE).joinpath(f"data/{table}.csv").read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_every_table_of_the_room_is_known_here():
    folder = resources.files(PACKAGE).joinpath("data")
    assert {f.name for f in folder.iterdir() if f.name.endswith(".csv")} == {
        f"{t}.csv" for t in TABLES
    }


@pytest.mark.parametrize("table", TABLES)
def test_every_row_names_a_source_that_exists_and_its_evidence(table):
    sources = read_sources(PACKAGE)
    for row in rows(table):
        assert list(row) == COLUMNS
        assert row["source"] in sources, row
        assert row["unit"], row
        assert row["evidence"] in {e.value for e in Evidence}, row
        float(row["value"])
    assert len(read_figures(PACKAGE, table)) == len(rows(table))


@pytest.mark.parametrize("table", TABLES)
def test_evidence_and_source_do_not_contradict(table):
    # What we set ourselves is never called read, and what is only recalled names no reading.
    for row in rows(table):
        if row["source"] == "wareleaf_demo":
            assert row["evidence"] == "demo", row
        if row["source"] in ("recalled", "chemistry_textbook", "siebel_recalled"):
            assert row["evidence"] in ("memory", "derived"), row
        if row["evidence"] == "demo":
            assert row["source"] == "wareleaf_demo", row
        if row["place"] == "abstract":
            assert row["evidence"] != "read", row


def test_every_source_is_used_by_a_row_or_by_an_equation():
    used = {row["source"] for table in TABLES for row in rows(table)}
    used |= {model.source for model in leaf.MODELS.values()} | {"works_own"}
    assert used == set(read_sources(PACKAGE))


def test_every_source_can_be_cited_in_one_line():
    for source in read_sources(PACKAGE).values():
        assert source.author
        assert source.title
        assert "\n" not in source.cite()


def test_profiles_and_rows_belong_together():
    subjects = {row["subject"] for table in TABLES if table != "salt" for row in rows(table)}
    assert subjects - {"all"} == set(leaf.profile_ids())


@pytest.mark.parametrize("leaf_id", leaf.profile_ids())
def test_a_profile_shows_all_its_figures_and_is_frozen(leaf_id):
    p = leaf.profile(leaf_id)
    shown = {f.quantity for f in p.figures}
    assert set(BOUNDS) <= shown
    assert {f.subject for f in p.figures} == {leaf_id}
    assert p.figure("moisture_wb_fresh").value == p.moisture_wb_fresh
    assert all(leaf.source_of(f).key == f.source for f in p.figures)
    with pytest.raises(FrozenInstanceError):
        p.moisture_wb_fresh = 0.5
    with pytest.raises(BadInput, match="no figure"):
        p.figure("colour")


def test_unknown_leaf_names_the_known_ones():
    with pytest.raises(BadInput, match="tea_black"):
        leaf.profile("oak")


def test_a_works_brings_its_own_figures():
    base = leaf.profile("tea_black")
    own = leaf.with_figures(
        base,
        {"moisture_wb_fresh": 0.80, "dry.rate_per_h": 28.0},
        evidence=Evidence.READ,
        note="dryer trial",
        leaf_id="our_leaf",
        name="Our leaf",
    )
    assert (own.id, own.name, own.crop) == ("our_leaf", "Our leaf", "tea")
    assert own.moisture_wb_fresh == 0.80
    assert leaf.rate_constant_per_h(own, 130.0, 1.0, "dry") == pytest.approx(28.0)
    assert own.figure("dry.rate_per_h").source == "works_own"
    assert own.figure("dry.rate_per_h").unit == "1/h"
    assert {f.subject for f in own.figures} == {"our_leaf"}
    assert len(own.figures) == len(base.figures)
    assert base.moisture_wb_fresh == 0.78


def test_a_works_may_change_the_model_of_a_branch_but_only_whole():
    base = leaf.profile("tea_black")
    gab = {"monolayer_db": 0.05, "c": 15.0, "k": 0.85}
    own = leaf.with_figures(base, {f"adsorption.gab.{k}": v for k, v in gab.items()})
    assert own.adsorption.model == "gab"
    expected = leaf.MODELS["gab"].moisture_db(0.5, 25.0, **gab)
    assert leaf.equilibrium_moisture_db(own, 0.5, 25.0, "adsorption") == pytest.approx(expected)
    with pytest.raises(BadInput, match=r"parameters\.c is missing"):
        leaf.with_figures(base, {"adsorption.gab.monolayer_db": 0.05, "adsorption.gab.k": 0.85})


@pytest.mark.parametrize(
    ("figures", "field"),
    [
        ({"moisture_wb_fresh": 1.3}, "moisture_wb_fresh"),
        ({"moisture_wb_target": 0.08}, "moisture_wb_target"),
        ({"dry.rate_per_h": -1.0}, "dry.rate_per_h"),
        ({"dry.rate_per_h": float("nan")}, "dry.rate_per_h"),
        ({"colour": 3.0}, "colour"),
        ({"hold_warm_h": 30.0}, "hold_warm_h"),
        ({"adsorption.modified_halsey.c": -1.0}, "parameters.c"),
        ({"adsorption.modified_halsey.d": 1.0}, "parameters.d"),
        ({"adsorption.fancy.a": 1.0}, "model"),
        ({"adsorption": 1.0}, "adsorption"),
    ],
)
def test_own_figures_that_make_no_leaf_are_refused(figures, field):
    with pytest.raises(BadInput) as refused:
        leaf.with_figures(leaf.profile("tea_black"), figures)
    assert refused.value.problems[0].field == field


def test_a_profile_with_a_missing_or_doubled_figure_is_refused():
    p = leaf.profile("nori_sheet")
    with pytest.raises(BadInput, match="half_thickness_m is missing"):
        leaf.build("x", "X", "nori", "", [f for f in p.figures if f.quantity != "half_thickness_m"])
    with pytest.raises(BadInput, match="stands twice"):
        leaf.build("x", "X", "nori", "", [*p.figures, p.figures[0]])


def test_salts_that_leave_no_leaf_are_refused():
    with pytest.raises(BadInput, match="salt"):
        leaf.with_figures(
            leaf.profile("sugar_kelp_raw"),
            {"salt_nacl_fraction": 0.45, "salt_kcl_fraction": 0.45},
        )


def test_what_a_leaf_rests_on_is_said_plainly():
    p = leaf.profile("sugar_kelp_raw")
    sentence = leaf.evidence_sentence(p, "desorption")
    assert "derived from named sources" in sentence
    assert "water activity meter" in sentence
    sources = leaf.sorption_sources(p, "desorption")
    assert any("Wexler" in s for s in sources)
    assert len(sources) == len(set(sources))
    assert not any(
        "Wexler" in s for s in leaf.sorption_sources(leaf.profile("tea_green"), "adsorption")
    )
