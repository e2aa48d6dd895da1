"""The demo's bench: samples, the oven, the outside laboratory, and the quality manager's word."""

from __future__ import annotations

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from wareleaf.measure import Evidence
from wareleaf.measure.errors import BadInput
from wareleaf.release import limits_for, lot_facts
from wareleaf.works import bench, handle_lot, release_lot
from wareleaf.works.bench import Found
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.season import YARDS, Season
from wareleaf.works.demo.truth import Chance, TrueLeaf
from wareleaf.works.judge import grade

LAB, QUALITY = "mirel", "bex"
OUTSIDE = "Hallow Strand laboratory"  # invented
CLEAN_SD = 0.8  # about four lots in five are graded A; invented
KELP_MARKETS = ("FR", "EU", "AU")
TEA_MARKETS = ("EU", "FR")
SOLD = (
    ("sugar_kelp_blanched", "flake", KELP_MARKETS),
    ("wakame_blade", "flake", KELP_MARKETS),
    ("tea_black", "graded", TEA_MARKETS),
    ("tea_green", "graded", TEA_MARKETS),
)
CONFIRMED = "demo: confirmed for the demo only; nobody has read the legal text"


@dataclass(frozen=True)
class Usual:
    """What the outside laboratory usually finds in the demo's tea; invented.

    ``below_loq`` results are reported as "less than" the value.
    """

    value: float
    unit: str
    below_loq: bool = False


TEA: Mapping[str, Usual] = {
    "mercury": Usual(0.004, "mg/kg"),
    "pyrrolizidine_alkaloids": Usual(22.0, "ug/kg"),
    "perchlorate": Usual(0.08, "mg/kg"),
    "anthraquinone": Usual(0.005, "mg/kg", below_loq=True),
    "glyphosate": Usual(0.05, "mg/kg", below_loq=True),
    "acetamiprid": Usual(0.01, "mg/kg", below_loq=True),
    "chlorpyrifos": Usual(0.005, "mg/kg", below_loq=True),
    "copper": Usual(17.0, "mg/kg"),
    "pesticide_without_own_limit": Usual(0.005, "mg/kg", below_loq=True),
}


def confirm_limits(season: Season) -> Doing:
    """On the first morning the quality manager confirms the texts that releases need."""
    yield season.at(season.now.date(), 6.5)
    wanted: dict[str, None] = {}
    for leaf_id, form, markets in SOLD:
        tags = lot_facts("any", leaf_id, form).tags
        for market in markets:
            for limit in limits_for(market, tags, season.now.date()):
                if limit.legal and limit.evidence is not Evidence.READ:
                    wanted.setdefault(limit.id)
    for limit_id in wanted:
        release_lot.confirm_limit(season.works, QUALITY, limit_id, CONFIRMED)


def kelp_bench(season: Season, lot: str) -> Doing:
    """A dried kelp lot: sample next morning, oven by noon, the laboratory days later, release."""
    chance = season.chance("bench", lot)
    yield season.next_workday(1, 8.4 + chance.minutes(0.0, 50.0))
    leaf = season.leaves[lot]
    sample = season.sample(LAB, lot, 300)
    looks = season.chance("grade", lot)
    grade(season.works, LAB, lot, "A" if looks.normal(0.0, 1.0) < CLEAN_SD else "B", "hand")
    moisture = yield from _oven(season, lot, sample, leaf, chance)
    yield season.next_workday(3, 14.5 + chance.minutes(0.0, 60.0))
    found = {"iodine": leaf.iodine_mg_kg, **leaf.metals_mg_kg}
    for parameter, value in found.items():
        relative_sd = 0.05 if parameter == "iodine" else 0.08
        seen = float(f"{chance.normal(value, relative_sd * value):.3g}")
        _report(
            season,
            lot,
            sample,
            Found(parameter, seen, relative_sd * seen, "mg/kg", "dry", moisture),
        )
    _report(
        season,
        lot,
        sample,
        Found("pesticide_without_own_limit", 0.01, 0.002, "mg/kg", "dry", moisture, below_loq=True),
    )
    yield from _release(season, lot, KELP_MARKETS, chance)


def tea_bench(season: Season, lot: str, chance: Chance) -> Doing:
    """A batch of dried tea that goes to the sifter: sampled before, released by grade after."""
    leaf = season.leaves[lot]
    sample = season.sample(LAB, lot, 400)
    moisture = yield from _oven(season, lot, sample, leaf, chance)
    yield season.next_workday(3, 15.5 + chance.minutes(0.0, 60.0))
    for parameter, usual in TEA.items():
        value, sd = usual.value, 0.1 * usual.value
        if not usual.below_loq:
            value = float(f"{chance.normal(chance.around(value, 0.15), sd):.3g}")
        found = Found(parameter, value, sd, usual.unit, "wet", moisture, usual.below_loq)
        _report(season, lot, sample, found)
    yield from _release(season, lot, TEA_MARKETS, chance)


def _oven(
    season: Season, lot: str, sample: str, leaf: TrueLeaf, chance: Chance
) -> Generator[datetime, None, float]:
    yield season.now + hours(4.5 + chance.minutes(0.0, 40.0))
    site = season.works.book.lot(lot).site
    meter = YARDS[site].oven
    seen = season.meters.read(meter, leaf.moisture_wb, chance, season.now)
    sd = season.works.settings.meter_of(meter).sd(seen)
    found = Found("moisture", 100.0 * seen, 100.0 * sd, "%", "wet", method=meter)
    bench.record_result(season.works, LAB, lot, sample, found)
    return seen


def _report(season: Season, lot: str, sample: str, found: Found) -> None:
    """What came back from outside, as the lab enters it."""
    entered = Found(
        found.parameter,
        found.value,
        found.standard_uncertainty,
        found.unit,
        found.basis,
        found.moisture_wb,
        found.below_loq,
        laboratory=OUTSIDE,
    )
    document = f"HS {season.now:%y%m%d}-{sample[-3:]}"
    bench.record_result(season.works, LAB, lot, sample, entered, document=document)


def _release(season: Season, lot: str, markets: Sequence[str], chance: Chance) -> Doing:
    """The quality manager releases what was made of the lot, for every market that allows it."""
    yield season.now + hours(0.8 + chance.minutes(0.0, 40.0))
    for made in season.goods.get(lot, []):
        _release_where_allowed(season, made, markets)
        yield season.now + hours(chance.minutes(2.0, 6.0))


def _release_where_allowed(season: Season, lot: str, markets: Sequence[str]) -> None:
    try:
        release_lot.release(season.works, QUALITY, lot, markets)
    except BadInput:
        open_to = [m for m in markets if release_lot.assess(season.works, lot, m).may_release]
        if open_to:
            release_lot.release(season.works, QUALITY, lot, open_to)


def hold_and_free(season: Season, lot: str) -> Doing:
    """Small shells on the belt: the lot is held, sieved, looked at again and freed."""
    yield season.now + hours(0.5)
    handle_lot.hold(season.works, "runa", lot, "small shells seen on the belt; sieve it twice")
    yield season.at(season.now.date(), 13.2)
    handle_lot.free(season.works, QUALITY, lot, "sieved twice, a kilogram looked through: clean")
