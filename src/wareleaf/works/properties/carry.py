"""One content over a season: what is known before any result, and what laboratories found."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from wareleaf.book import Event
from wareleaf.book.properties import Finding, Source, Step
from wareleaf.leaf.contents import UsualContent, spread, unit_of, usual_content
from wareleaf.measure.errors import BadInput
from wareleaf.release.quantities import Content, convert_content, moisture_content
from wareleaf.stages.carry import LEACHING, Kept, kept, part_relative_sd, sample_relative_sd
from wareleaf.works.properties.season import Move, Season
from wareleaf.works.settings import WorksSettings

MOISTURE = "moisture"
_LEAST_SCALE = 1e-3  # of the published mean: spreads never vanish (own choice)
# Moisture is carried on through these; after a stage it was measured anew.
_KEEP_WATER = ("combine", "split", "blend", "pack", "count", "rework", "receive_back")


@dataclass(frozen=True)
class Told:
    """A result as the network takes it, with the event it stands in."""

    finding: Finding
    event: Event


@dataclass(frozen=True)
class Given:
    """Everything about one content of a family of leaf.

    Parameters
    ----------
    parameter, unit : str
        On dry matter; moisture is kg water per kg dry matter inside.
    sources, steps : tuple
        The lots.
    told : tuple of Told
        The results.
    usual : mapping of str to UsualContent
        What each leaf that came in was taken to hold.
    left_out : tuple of str
        Sentences on results that could not be used.
    """

    parameter: str
    unit: str
    sources: tuple[Source, ...]
    steps: tuple[Step, ...]
    told: tuple[Told, ...]
    usual: dict[str, UsualContent]
    left_out: tuple[str, ...]
    leaf_of: Mapping[str, str] = field(default_factory=dict)
    line_of: Mapping[str, str] = field(default_factory=dict)

    def at_scale(self, seen: Mapping[str, float]) -> Given:
        """The same with loads and lines that differ by shares of what the leaf was found to hold.

        Parameters
        ----------
        seen : mapping of str to float
            Estimate of each lot that came in.
        """
        by_leaf: dict[str, list[float]] = {}
        for lot, value in seen.items():
            by_leaf.setdefault(self.leaf_of[lot], []).append(value)
        scale = {
            leaf: max(math.fsum(values) / len(values), _LEAST_SCALE * self.usual[leaf].mean)
            for leaf, values in by_leaf.items()
        }
        sources = tuple(
            _source(
                s.lot_id,
                self.leaf_of[s.lot_id],
                self.line_of.get(s.lot_id, ""),
                self.usual[self.leaf_of[s.lot_id]],
                scale[self.leaf_of[s.lot_id]],
            )
            for s in self.sources
        )
        return replace(self, sources=sources)


def given(settings: WorksSettings, season: Season, parameter: str) -> Given | None:
    """Put one content together; None when nothing at all is known of it.

    Parameters
    ----------
    settings : WorksSettings
        For the works' own figures.
    season : Season
        Lots and results.
    parameter : str
        ``moisture`` or a content.
    """
    told, left_out = _told(settings, season, parameter)
    parted = _parted_steps(settings, season)
    if parameter == MOISTURE:
        sources, steps = _water(season)
        unit = "kg/kg"
        return Given(parameter, unit, sources, (*parted, *steps), told, {}, left_out)
    usual = _usual(settings, season, parameter, told)
    if usual is None:
        return None
    came = [season.made[lot] for m in season.moves if not m.parents for lot in m.children]
    leaf_of = {m.lot_id: m.leaf for m in came}
    line_of = {m.lot_id: str(m.attributes.get("source") or "") for m in came}
    sources = tuple(
        _source(lot, leaf, line_of[lot], usual[leaf], usual[leaf].mean)
        for lot, leaf in leaf_of.items()
    )
    steps = (*parted, *(_step(season, m, parameter) for m in season.moves if m.parents))
    unit = unit_of(parameter)
    return Given(parameter, unit, sources, steps, told, usual, left_out, leaf_of, line_of)


def _parted_steps(settings: WorksSettings, season: Season) -> tuple[Step, ...]:
    own = settings.laboratory.part_relative_sd
    unlike = part_relative_sd("split") if own is None else own
    return tuple(
        Step(f"parts of {p.lot_id}", {p.lot_id: 1.0}, p.parts, part_relative_sd=unlike)
        for p in season.parted
    )


# ---- contents ----------------------------------------------------------------------------------


def _usual(
    settings: WorksSettings, season: Season, parameter: str, told: tuple[Told, ...]
) -> dict[str, UsualContent] | None:
    """What each leaf that came in usually holds; None when nothing is known of one of them."""
    leaves = {season.made[lot].leaf for m in season.moves if not m.parents for lot in m.children}
    found = {}
    for leaf in leaves:
        usual = _own(settings, leaf, parameter) or usual_content(leaf, parameter) or _from(told)
        if usual is None:
            return None
        found[leaf] = usual
    return found


def _own(settings: WorksSettings, leaf: str, parameter: str) -> UsualContent | None:
    for row in settings.usual_leaf:
        if row.leaf == leaf and row.parameter == parameter:
            return UsualContent(
                row.mean,
                row.works_relative_sd,
                spread("line_relative_sd"),
                row.lot_relative_sd,
                "works.toml",
                "own",
                "the works' own figure",
            )
    return None


def _from(told: tuple[Told, ...]) -> UsualContent | None:
    """Where nothing is published, the mean of what was found, very loosely held."""
    values = [t.finding.value for t in told]
    if not values or not math.fsum(values) > 0.0:
        return None
    return UsualContent(
        math.fsum(values) / len(values),
        spread("own_works_relative_sd"),
        spread("line_relative_sd"),
        spread("lot_relative_sd"),
        "",
        "own",
        f"the mean of the works' own {len(values)} results; nothing is published",
    )


def _source(lot: str, leaf: str, line: str, about: UsualContent, scale: float) -> Source:
    """A lot that came in; loads and lines differ by shares of ``scale``."""
    shared = {f"leaf {leaf}": about.works_relative_sd * about.mean}
    if line:
        shared[f"line {line}"] = about.line_relative_sd * scale
    return Source(lot, about.mean, about.lot_relative_sd * scale, shared)


def source_like_it(about: Given, lot: str, leaf: str) -> Source:
    """A load of a leaf that is still to come, from a line that is not known."""
    usual = about.usual[leaf]
    return _source(lot, leaf, "", usual, usual.mean)


def machine_error(stage: str, machine: str) -> str:
    """Name of what a machine always does beside what is said of its stage."""
    return f"{stage} {machine}"


def _step(season: Season, move: Move, parameter: str) -> Step:
    keeps = _ash(season, move) if parameter == "ash" else None
    keeps = keeps or kept(move.stage, parameter, move.iodine_kept)
    rise = move.rise if keeps.of_amount else 1.0
    shared = machine_error(move.stage, move.machine)
    machine = {shared: keeps.machine_sd * rise} if keeps.machine_sd else {}
    return Step(
        move.event_id,
        move.parents,
        move.children,
        factor=keeps.fraction * rise,
        factor_sd=keeps.run_sd * rise,
        shared_factor=machine,
        part_relative_sd=part_relative_sd(move.stage),
    )


def _ash(season: Season, move: Move) -> Kept | None:
    """Ash leaves with the salts: what is published of the leaf before and after."""
    before = {
        season.made[d.lot_id].leaf
        for e in [season.maker[next(iter(move.children))]]
        for d in e.inputs
        if d.lot_id in season.made
    }
    after = season.made[next(iter(move.children))].leaf
    if move.stage not in LEACHING or before == {after}:
        return None
    known = [usual_content(leaf, "ash") for leaf in (*before, after)]
    if len(known) != 2 or known[0] is None or known[1] is None:
        return None
    doubt = kept(move.stage, "other")
    fraction = known[1].mean / known[0].mean
    return Kept(fraction, fraction * doubt.run_sd, fraction * doubt.machine_sd, of_amount=False)


# ---- water -------------------------------------------------------------------------------------


def _water(season: Season) -> tuple[tuple[Source, ...], tuple[Step, ...]]:
    """Every weighing after a stage starts anew; mixing and splitting carries on."""
    sources, steps = [], []
    for move in season.moves:
        if move.parents and move.stage in _KEEP_WATER:
            steps.append(Step(move.event_id, move.parents, move.children))
            continue
        sources += [_weighed(season, lot) for lot in move.children]
    return tuple(sources), tuple(steps)


def _weighed(season: Season, lot: str) -> Source:
    """Moisture on dry basis as booked: X = w / (1 - w), its doubt to first order (GUM)."""
    made = season.made[lot]
    dry = max(float(made.dry_g), 1.0) / max(made.mass_g, 1)
    meter_g = math.sqrt(max(made.dry_sd_g**2 - (dry * made.mass_sd_g) ** 2, 0.0))
    return Source(lot, 1.0 / dry - 1.0, meter_g / max(made.mass_g, 1) / dry**2)


# ---- results -----------------------------------------------------------------------------------


def _told(
    settings: WorksSettings, season: Season, parameter: str
) -> tuple[tuple[Told, ...], tuple[str, ...]]:
    own = settings.laboratory.sample_relative_sd
    sampling = sample_relative_sd() if own is None else own
    told, left_out = [], []
    for event in season.results:
        if event.facts["parameter"] != parameter or event.facts["lot_id"] not in season.made:
            continue
        try:
            told.append(Told(_finding(season, event, parameter, sampling), event))
        except BadInput as error:
            left_out.append(f"{parameter} of {event.facts['lot_id']} is not used: {error}")
    return tuple(told), tuple(left_out)


def _finding(season: Season, event: Event, parameter: str, sampling: float) -> Finding:
    facts = event.facts
    lot = str(facts["lot_id"])
    value, sd = float(facts["value"]), float(facts["standard_uncertainty"])
    if facts.get("below_loq"):
        # Anywhere from nothing to the limit of the method: JCGM 100:2008, 4.3.7.
        value, sd = value / 2.0, value / math.sqrt(12.0)
    if parameter == MOISTURE:
        seen = moisture_content(
            value, sd, unit=facts["unit"], to_unit="fraction", basis=facts["basis"]
        )
        return _finding_of_water(lot, seen)
    made = season.made[lot]
    wet = facts.get("moisture_wb")
    booked = (made.mass_g - made.dry_g) / made.mass_g
    found = convert_content(
        value,
        sd,
        unit=facts["unit"],
        to_unit=unit_of(parameter),
        basis=facts["basis"],
        to_basis="dry",
        moisture_wb=booked if wet is None else float(wet),
    )
    doubt = math.hypot(found.standard_uncertainty, sampling * found.value)
    return Finding(lot, found.value, max(doubt, 1e-9))


def _finding_of_water(lot: str, seen: Content) -> Finding:
    dry = max(1.0 - seen.value, 1e-3)
    return Finding(lot, seen.value / dry, max(seen.standard_uncertainty / dry**2, 1e-6))


def parameters_of(season: Season, known: Iterable[str]) -> Iterator[str]:
    """Moisture, then what is known of the leaf or was ever found in it."""
    found = {str(e.facts["parameter"]) for e in season.results}
    yield from dict.fromkeys((MOISTURE, *known, *sorted(found)))
