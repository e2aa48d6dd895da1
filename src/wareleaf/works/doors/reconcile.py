"""Measured streams adjusted to each other so that all balances hold; suspects of gross errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import Field, create_model

from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.book.reconcile import GlobalTest, Reconciliation


class StreamIn(DoorInput):
    """One stream: from a node to a node, null at the border; measured or not."""

    name: str = Field(min_length=1)
    start: str | None = Field(None, validation_alias="from")
    end: str | None = Field(None, validation_alias="to")
    measured: float | None = None
    standard_uncertainty: float | None = Field(None, gt=0.0)


class Input(DoorInput):
    """All streams in one unit; ``known`` gives exact amounts by stream name."""

    streams: list[StreamIn] = Field(min_length=1, max_length=1_000_000)
    known: dict[str, float] = Field(default_factory=dict)
    nonnegative: bool = Field(True, description="Keep every amount at zero or more.")
    level: float = Field(0.05, gt=0.0, lt=1.0, description="Level of the tests.")
    max_suspects: int = Field(10, ge=0, le=100)


# "class" is the door's word, and no name that a class body can hold.
StreamOut = create_model(
    "StreamOut",
    __base__=DoorInput,
    __doc__="A stream after reconciliation; ``z`` is its adjustment over its own uncertainty.",
    name=(str, ...),
    reconciled=(float | None, ...),
    adjustment=(float | None, ...),
    standard_uncertainty=(float | None, ...),
    z=(float | None, ...),
    **{"class": (str, Field(description="How the amount is known."))},  # type: ignore[call-overload]
)


class TestOut(DoorInput):
    """Chi-square test of all balances at once."""

    statistic: float
    dof: int
    p_value: float


class SuspectOut(DoorInput):
    """A measurement that does not fit the others.

    ``error`` is what it is estimated to be off by (measured less true). ``left_out``: serial
    elimination left it out, and ``after`` is the global test then. ``alike`` names streams that the
    balances cannot tell from it.
    """

    name: str
    rank: int
    z: float
    error: float
    error_standard_uncertainty: float
    left_out: bool
    after: TestOut
    alike: list[str]


class Output(DoorOutput):
    """Streams in the order given, the global test, suspects by rank."""

    streams: list[StreamOut]  # type: ignore[valid-type]
    global_test: TestOut
    suspects: list[SuspectOut]
    z_limit: float
    without_suspects: dict[str, float]
    at_zero: list[str]


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.book.reconcile import Flow, reconcile

    found = reconcile(
        [Flow(s.name, s.start, s.end, s.measured, s.standard_uncertainty) for s in data.streams],
        data.known,
        nonnegative=data.nonnegative,
        level=data.level,
        most_suspects=data.max_suspects,
    )
    out = Output(
        streams=[
            StreamOut(
                name=f.name,
                reconciled=f.reconciled,
                adjustment=f.adjustment,
                standard_uncertainty=f.standard_uncertainty,
                z=f.z,
                **{"class": f.kind},
            )
            for f in found.flows
        ],
        global_test=_test(found.global_test),
        suspects=[
            SuspectOut(
                name=s.name,
                rank=s.rank,
                z=s.z,
                error=s.error,
                error_standard_uncertainty=s.error_sd,
                left_out=s.left_out,
                after=_test(s.test_after),
                alike=list(s.alike),
            )
            for s in found.suspects
        ],
        z_limit=found.z_limit,
        without_suspects=dict(found.without_suspects),
        at_zero=list(found.at_zero),
        sources=[
            "Weighted least squares with balances: Kuehn and Davidson (1961), Chem. Eng. Prog. 57 "
            "(method from memory).",
            "Classes by the graph of unmeasured streams: Mah, Stanley and Downing (1976), Ind. "
            "Eng. Chem. Process Des. Dev. 15 (method from memory).",
            "Measurement test and serial elimination: Mah and Tamhane (1982), AIChE J. 28; Ripps "
            "(1965) (methods from memory).",
        ],
    )
    out.warnings = _warnings(found, len(data.streams))
    return out


def _test(test: GlobalTest) -> TestOut:
    return TestOut(statistic=test.statistic, dof=test.dof, p_value=test.p_value)


def _warnings(found: Reconciliation, streams: int) -> list[str]:
    said = []
    kinds = [f.kind for f in found.flows]
    if found.global_test.dof == 0:
        said.append("No balance checks any measurement, so nothing could be adjusted or tested.")
    blind = kinds.count("unobservable")
    if blind:
        said.append(f"{blind} of {streams} streams cannot be known from what was measured.")
    if found.at_zero:
        said.append(
            "Held at zero: " + ", ".join(found.at_zero[:10]) + ". Tests and uncertainties are "
            "those before this bound."
        )
    if found.suspects:
        said.append(
            "The amounts include the suspects; without_suspects gives them with the measurements "
            "left out that serial elimination picked."
        )
    if found.simulated:
        said.append(
            f"The network is large: uncertainties rest on {found.simulated} simulated sets of "
            "errors where a direct way would take too long, good to about 5 %."
        )
    return said
