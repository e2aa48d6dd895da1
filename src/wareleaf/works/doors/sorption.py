"""Water activity and moisture of a leaf or an isotherm in equilibrium, and heat of sorption."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, Self

from pydantic import Field, model_validator

from wareleaf.measure import BadInput, basis
from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.leaf import LeafProfile

ModelName = Literal[
    "gab",
    "modified_oswin",
    "modified_halsey",
    "modified_henderson",
    "modified_chung_pfost",
    "peleg",
]


class Input(DoorInput):
    """A leaf profile, or a model with its constants; and one of three ways to say how wet."""

    leaf: str | None = Field(None, description="Id of a leaf profile.")
    model: ModelName | None = None
    parameters: dict[str, float] | None = Field(
        None,
        description=(
            "Constants of the model. gab: monolayer_db, c, k (and heat_monolayer_j_mol, "
            "heat_c_j_mol, heat_k_j_mol, reference_c). modified_oswin, modified_halsey, "
            "modified_henderson, modified_chung_pfost: a, b, c. peleg: c1, c2, c3, c4 (and "
            "heat_scale_j_mol, heat_exponent_j_mol, reference_c). Upper case is accepted."
        ),
    )
    parameters_moisture_unit: Literal["kg_per_kg", "percent"] = Field(
        "kg_per_kg", description="Unit of dry-basis moisture the constants were published for."
    )
    salt_nacl_fraction: float = Field(
        0.0, description="With a model: of the dry matter; the constants are of the rest."
    )
    salt_kcl_fraction: float = Field(0.0, description="Likewise.")
    temperature_c: float = Field(ge=-20.0, le=150.0)
    water_activity: float | None = Field(None, ge=0.0, le=1.0)
    moisture_db: float | None = Field(None, ge=0.0)
    moisture_wb: float | None = Field(None, ge=0.0, lt=1.0)
    branch: Literal["adsorption", "desorption"] = "desorption"

    @model_validator(mode="after")
    def _one_way_each(self) -> Self:
        if (self.leaf is None) == (self.model is None):
            raise ValueError("give either leaf, or model with parameters")
        if (self.model is None) != (self.parameters is None):
            raise ValueError("model and parameters go together")
        if self.leaf is not None and self.salt_nacl_fraction + self.salt_kcl_fraction != 0.0:
            raise ValueError("a leaf profile has its own salt; give salt with a model only")
        given = [self.water_activity, self.moisture_db, self.moisture_wb]
        if sum(v is not None for v in given) != 1:
            raise ValueError("give exactly one of water_activity, moisture_db and moisture_wb")
        return self


class Output(DoorOutput):
    """The equilibrium, both ways; heat is above that of evaporation, per kg water."""

    water_activity: float
    moisture_db: float
    moisture_wb: float
    net_isosteric_heat_j_kg: float
    leaf: str | None = None
    model: str
    branch: str
    salt_nacl_fraction: float = Field(0.0, description="Its brine is in the moisture, with KCl's.")
    salt_kcl_fraction: float = 0.0


def run(data: Input) -> Output:
    """Compute the door."""
    return _of_leaf(data) if data.leaf is not None else _of_model(data)


def _moisture_given(data: Input) -> float | None:
    if data.moisture_wb is not None:
        return basis.moisture_db_from_wb(data.moisture_wb)
    return data.moisture_db


def _of_leaf(data: Input) -> Output:
    from wareleaf import leaf

    assert data.leaf is not None
    profile = leaf.profile(data.leaf)
    t, branch = data.temperature_c, data.branch
    db = _moisture_given(data)
    aw: Any
    if db is None:
        aw = data.water_activity
        db = leaf.equilibrium_moisture_db(profile, aw, t, branch)
    else:
        aw = leaf.water_activity(profile, db, t, branch)
    out = Output(
        water_activity=aw,
        moisture_db=db,
        moisture_wb=basis.moisture_wb_from_db(db),
        net_isosteric_heat_j_kg=leaf.net_isosteric_heat_j_kg(profile, db, t, branch),
        leaf=profile.id,
        model=profile.branch_model(branch).model,
        branch=branch,
        salt_nacl_fraction=profile.salt_nacl_fraction,
        salt_kcl_fraction=profile.salt_kcl_fraction,
        sources=leaf.sorption_sources(profile, branch),
    )
    out.warnings = _leaf_warnings(profile, data, out)
    return out


def _leaf_warnings(profile: LeafProfile, data: Input, out: Output) -> list[str]:
    from wareleaf import leaf

    found = [leaf.evidence_sentence(profile, data.branch)]
    found += leaf.range_warnings(profile, data.temperature_c, out.water_activity)
    if data.water_activity is not None and data.water_activity > leaf.WATER_ACTIVITY_TOP:
        found.append(
            f"Moisture is that of water activity {leaf.WATER_ACTIVITY_TOP:g}; in damper air "
            "leaf takes up water without limit."
        )
    if data.water_activity is None and out.water_activity >= 1.0:
        found.append("The leaf is wetter than its isotherm reaches: it holds free water.")
    if data.branch == "desorption" and out.water_activity < 0.9:
        found.append("To judge leaf in store use branch adsorption; its water activity is higher.")
    if out.water_activity > profile.water_activity_store_limit:
        found.append(
            f"Water activity {out.water_activity:.3f} is above the store limit "
            f"{profile.water_activity_store_limit:g}: leaf this wet does not keep."
        )
    return found


def _of_model(data: Input) -> Output:
    from wareleaf import leaf

    assert data.model is not None
    assert data.parameters is not None
    salts = (data.salt_nacl_fraction, data.salt_kcl_fraction)
    given = _renamed(data.model, data.parameters)
    constants = leaf.check_parameters(data.model, given)
    if data.parameters_moisture_unit == "percent":
        constants = leaf.parameters_from_percent(data.model, constants)
    t = data.temperature_c
    db = _moisture_given(data)
    aw: Any
    if db is None:
        aw = data.water_activity
        db = leaf.moisture_of_model_db(data.model, constants, aw, t, salts)
    else:
        aw = leaf.water_activity_of_model(data.model, constants, db, t, salts)
    out = Output(
        water_activity=aw,
        moisture_db=db,
        moisture_wb=basis.moisture_wb_from_db(db),
        net_isosteric_heat_j_kg=leaf.isosteric_heat_of_model_j_kg(
            data.model, constants, db, t, salts
        ),
        model=data.model,
        branch=data.branch,
        salt_nacl_fraction=salts[0],
        salt_kcl_fraction=salts[1],
        sources=[leaf.model_source(data.model), *(leaf.salt_sources() if sum(salts) else ())],
        warnings=["The constants are the caller's own; their fitted range is not known here."],
    )
    if "branch" in data.model_fields_set:
        out.warnings.append("A bare model has one branch; the constants decide which.")
    if data.water_activity is None and out.water_activity >= 1.0:
        out.warnings.append("The leaf is wetter than this isotherm reaches: it holds free water.")
    return out


_OTHER_NAMES = {"gab": {"xm": "monolayer_db", "m0": "monolayer_db", "mm": "monolayer_db"}}


def _renamed(model: str, parameters: dict[str, float]) -> dict[str, float]:
    """Constants under our names; upper case and the usual letters for the monolayer are taken."""
    others = _OTHER_NAMES.get(model, {})
    renamed: dict[str, float] = {}
    for name, value in parameters.items():
        ours = others.get(name.lower(), name.lower())
        if ours in renamed:
            raise BadInput(
                f"parameters.{name}", value, f"parameters.{name} is given twice, as {ours} too."
            )
        renamed[ours] = value
    return renamed
