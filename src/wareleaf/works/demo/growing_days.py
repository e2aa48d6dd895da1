"""Lines and fields of the demo: what was done there, harvests on their way, leaf kept cool."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from wareleaf.works import growing
from wareleaf.works.cool import cool
from wareleaf.works.demo.agenda import Doing, hours
from wareleaf.works.demo.season import YARDS, Season

WAITS_COOL_H = 3.0
COLD_ROOM_C, SEA_WATER_C = 4.0, 3.0
COOLED_ON_THE_WAY_H = 1.0


@dataclass(frozen=True)
class Crew:
    """Who cuts a line or field, and what brings it in. Invented."""

    vessel: str
    people: tuple[str, ...]


_OWN = Crew("Sula", ("Edda Skarr", "Nils Vannick"))
_BRANNOCH = Crew("Little Auk", ("Tam Brannoch", "Lio Brannoch"))
_UMMER = Crew("leaf lorry", ("Ummerdale pluckers",))
CREWS: Mapping[str, Crew] = {
    "line-01": _OWN,
    "line-02": _OWN,
    "line-05": _BRANNOCH,
    "line-11": _BRANNOCH,
    "field-a": _UMMER,
    "field-b": _UMMER,
    "field-c": Crew("Pellan cart", ("Pellan smallholders",)),
}


@dataclass(frozen=True)
class SiteWork:
    """Something done on a line or field; substance, dose and interval are invented."""

    source: str
    hour: float
    work: str
    substance: str = ""
    dose: str = ""
    interval_days: float | None = None


# By days ago. The field is sprayed after its plucking, and plucked again when the interval is over.
WORK: Mapping[int, SiteWork] = {
    27: SiteWork("line-01", 13.0, "droppers tied anew after the gale"),
    19: SiteWork("field-a", 9.0, "weeded by hand between the rows"),
    13: SiteWork("line-05", 11.5, "buoys changed, mussels scraped off"),
    6: SiteWork("field-c", 15.0, "sprayed against mites", "soft soap", "6 l/ha", 1.0),
    2: SiteWork("line-02", 12.0, "looked along the line: clean blades"),
}


def site_work(season: Season, day: date) -> Iterator[Doing]:
    """What is done on a line or field on a day, if anything is."""
    row = WORK.get(season.days_ago(day))
    if row is not None:
        yield _work(season, day, row)


def _work(season: Season, day: date, row: SiteWork) -> Doing:
    yield season.at(day, row.hour)
    growing.record_site_work(
        season.works,
        YARDS[season.works.settings.source_of(row.source).site].intake,
        row.source,
        row.work,
        substance=row.substance,
        dose=row.dose,
        interval_days=row.interval_days,
    )


def harvested(
    season: Season, source_id: str, arrives: datetime, usual_kg: float
) -> Generator[datetime, None, str]:
    """A load cut and brought to the door, told when it was cut; returns the harvest's number."""
    chance = season.chance("harvest", source_id, arrives.date(), arrives.hour)
    source, crew = season.works.settings.source_of(source_id), CREWS[source_id]
    who = YARDS[source.site].intake
    yield max(season.now, arrives - hours(source.haul_h * chance.around(1.0, 0.2)))
    cut_at = season.now
    number = f"H-{cut_at:%m%d%H}-{source_id}"
    growing.record_harvest(
        season.works,
        who,
        source_id,
        10.0 * round(chance.around(usual_kg, 0.08) / 10.0),
        harvest_id=number,
        vessel=crew.vessel,
        people=crew.people,
        document=f"CUT {cut_at:%m%d}/{source_id[-2:].upper()}",
    )
    yield arrives
    if source.site == "kelp" and source.haul_h > COOLED_ON_THE_WAY_H:
        cool(
            season.works,
            who,
            [],
            "chilled sea water",
            round(chance.normal(SEA_WATER_C, 0.4), 1),
            began=cut_at + hours(0.2),
            until=season.now,
            harvest_id=number,
            place=crew.vessel,
        )
    return number


def kept_cool(season: Season, lot: str, since: datetime) -> None:
    """Kelp that had to wait long for a belt stood in the cold room."""
    began = since + hours(0.3)
    if season.now - since < hours(WAITS_COOL_H):
        return
    chance = season.chance("cold room", lot)
    cool(
        season.works,
        YARDS["kelp"].operator,
        [lot],
        "cold room",
        round(chance.normal(COLD_ROOM_C, 0.5), 1),
        began=began,
        until=season.now,
        place="cold room",
    )
