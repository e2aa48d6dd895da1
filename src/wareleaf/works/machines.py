"""From a machine in the settings to the spec its stage model wants.

``[equipment.settings]`` holds the fields of the spec under their own names; what is left out takes
the model's default. Mistakes name the equipment and the field.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from typing import Any

from wareleaf.measure.errors import BadInput
from wareleaf.stages import blanch, dry, mill, oxidise, roll, sift, wither
from wareleaf.works.charge import Charge
from wareleaf.works.settings import Equipment

DRYERS = {"belt_dryer": dry.BeltDryer, "fluid_bed": dry.FluidBed}

# What may stand under a machine's settings and belongs to the run: how the roller leaves the leaf,
# and what the works' own trial gave (fit-trial).
OF_THE_RUN = {
    "blanch_bath": ("leach_factor", "residual_factor", "leach_activation_j_mol"),
    "wither_trough": ("rate_factor",),
    "roller": ("rate_factor",),
    "oxidation_floor": (
        "cut",
        "rate_factor",
        "theaflavin_factor",
        "loss_ratio",
        "formation_activation_j_mol",
        "loss_activation_j_mol",
    ),
}

# What a colour meter shows on leaf as it comes to the floor and on leaf oxidised through, from the
# works' own trial (fit-trial); they belong to the meter's readings.
COLOUR = ("colour_start", "colour_end")


def of_the_run(machine: Equipment) -> dict[str, Any]:
    """Settings of a machine that its stage's run takes."""
    found = {k: machine.settings[k] for k in OF_THE_RUN[machine.kind] if k in machine.settings}
    for name, value in found.items():
        if name != "cut" and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise BadInput(
                f"{machine.id}.{name}",
                value,
                f"{machine.id}.{name} is {value!r}; it must be a number above 0.",
            )
    return found


def _of_the_spec(machine: Equipment) -> dict[str, Any]:
    of_others = (*OF_THE_RUN[machine.kind], *COLOUR)
    return {k: v for k, v in machine.settings.items() if k not in of_others}


def make(kind: Callable[..., Any], given: Mapping[str, Any], where: str) -> Any:
    """Make a frozen spec from a table of settings.

    Raises
    ------
    BadInput
        For an unknown field or a value the spec refuses, with the place in the settings.
    """
    known = {f.name for f in fields(kind)}  # type: ignore[arg-type]
    for name in given:
        if name not in known:
            raise BadInput(
                f"{where}.{name}",
                given[name],
                f"{where}.{name} is not a setting; there are: {', '.join(sorted(known))}.",
            )
    missing = [
        f.name
        for f in fields(kind)  # type: ignore[arg-type]
        if f.name not in given and f.default is MISSING and f.default_factory is MISSING
    ]
    if missing:
        raise BadInput(
            f"{where}.{missing[0]}",
            None,
            f"{where} lacks {', '.join(missing)}; add it under [equipment.settings].",
        )
    try:
        return kind(**given)
    except BadInput as error:
        raise BadInput(f"{where}.{error.problems[0].field}", None, f"{where}: {error}") from error


def fed_all_the_time(machine: Equipment) -> bool:
    """Whether leaf goes on at one end while leaf comes off at the other."""
    return machine.kind in DRYERS


def trough_of(machine: Equipment) -> wither.Trough:
    """The withering trough of the settings."""
    trough: wither.Trough = make(wither.Trough, _of_the_spec(machine), machine.id)
    return trough


def bath_of(machine: Equipment, settings: Mapping[str, float]) -> blanch.Bath:
    """The blanch bath at a set temperature."""
    given = _of_the_spec(machine)
    if "temperature_c" in settings:
        given["temperature_c"] = settings["temperature_c"]
    given.setdefault("feed_kg_h", machine.rate_kg_h or 0.0)
    bath: blanch.Bath = make(blanch.Bath, given, machine.id)
    return bath


def dryer_of(machine: Equipment, settings: Mapping[str, float]) -> dry.Dryer:
    """The belt dryer or fluid bed, with the air of every heated zone moved by ``inlet_shift_k``."""
    kind = DRYERS.get(machine.kind)
    if kind is None:
        raise BadInput(
            "equipment", machine.id, f"{machine.name} is a {machine.kind}; it is not a dryer."
        )
    given = {**machine.settings}
    shift = settings.get("inlet_shift_k", 0.0)
    zones = []
    for at, zone in enumerate(given.pop("zones", [])):
        table = {"inlet_c": None, **zone}  # TOML has no null: a zone without it has no heater
        if table.get("inlet_c") is not None:
            table["inlet_c"] = table["inlet_c"] + shift
        zones.append(make(dry.Zone, table, f"{machine.id}.zones.{at}"))
    given["zones"] = tuple(zones)
    for name, part in (("heater", dry.Heater), ("fan", dry.Fan)):
        if name in given:
            given[name] = make(part, given[name], f"{machine.id}.{name}")
    dryer: dry.Dryer = make(kind, given, machine.id)
    return dryer


def roller_of(machine: Equipment) -> roll.Roller:
    """The roller; its charge is the machine's capacity."""
    given = _of_the_spec(machine)
    if machine.capacity_kg is not None:
        given.setdefault("charge_kg", machine.capacity_kg)
    roller: roll.Roller = make(roll.Roller, given, machine.id)
    return roller


def floor_of(machine: Equipment, settings: Mapping[str, float]) -> oxidise.Floor:
    """The oxidation floor with the room at a set temperature."""
    given = _of_the_spec(machine)
    if "air_c" in settings:
        given["dry_bulb_c"] = settings["air_c"]
    floor: oxidise.Floor = make(oxidise.Floor, given, machine.id)
    return floor


def colour_of(machine: Equipment) -> tuple[float, float] | None:
    """What the colour meter shows at the start and the end of oxidation; None when not known.

    Raises
    ------
    BadInput
        When one of the two is missing, is no number, or they are the same.
    """
    found = [machine.settings.get(name) for name in COLOUR]
    if found == [None, None]:
        return None
    for name, value in zip(COLOUR, found, strict=True):
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BadInput(
                f"{machine.id}.{name}",
                value,
                f"{machine.id}.{name} is {value!r}; colour_start and colour_end must both be "
                "numbers, as fit-trial gives them.",
            )
    start, end = (float(v) for v in found if v is not None)
    if start == end:
        raise BadInput(
            f"{machine.id}.colour_end",
            end,
            f"{machine.id}.colour_end is {end:g}, as colour_start: such a colour shows nothing.",
        )
    return start, end


def sifter_of(machine: Equipment) -> sift.SieveStack:
    """The sieves, coarsest first; ``decks`` is a list of tables with ``grade``, ``aperture_mm``."""
    given = {**machine.settings}
    decks = given.pop("decks", [])
    given["decks"] = tuple(
        make(sift.Deck, deck, f"{machine.id}.decks.{at}") for at, deck in enumerate(decks)
    )
    if machine.rate_kg_h is not None:
        given.setdefault("feed_kg_h", machine.rate_kg_h)
    stack: sift.SieveStack = make(sift.SieveStack, given, machine.id)
    return stack


def mill_of(
    machine: Equipment, settings: Mapping[str, float], charge: Charge
) -> tuple[mill.Mill, mill.MillRun]:
    """The mill and the run of a charge, ground to the set size."""
    spec: mill.Mill = make(mill.Mill, machine.settings, machine.id)
    run = mill.MillRun(
        leaf_id=charge.leaf_id,
        mass_kg=charge.mass_kg,
        moisture_wb=charge.moisture_wb,
        moisture_wb_sd=charge.moisture_sd,
        product_um=settings["product_um"],
        feed_um=max(5000.0, 1.5 * settings["product_um"]),
        feed_kg_h=machine.rate_kg_h or 150.0,
    )
    return spec, run
