"""What a finished oxidation run says of its rate: theaflavin by the bench, or a colour.

Moisture does not tell how far leaf is oxidised, so a run on the floor speaks only when a sample of
it was read: theaflavin of the infusion, or a colour that the works' own trial links to the share of
catechin oxidised. The time is that of the sample; the bench may answer when the leaf is fired.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wareleaf.leaf.learned import LOG_RATES
from wareleaf.measure.errors import BadInput
from wareleaf.stages import oxidise
from wareleaf.stages.common import Array, StageReading
from wareleaf.works.house import Works
from wareleaf.works.machines import floor_of
from wareleaf.works.predict.base import NODES, OwnRate, asked_again
from wareleaf.works.predict.tea import oxidise_run_of, with_shares
from wareleaf.works.runs_done import Done
from wareleaf.works.settings import Equipment

FAR_SD = 4.0  # readings further from all that rates and yields give are a mistake (own choice)
_LINK = "A colour was read, and the floor has no colour_start and colour_end to say what it means."


@dataclass(frozen=True)
class OwnOxidation(OwnRate):
    """The works' own rate of oxidation over the model's, learned from earlier runs."""

    @property
    def source(self) -> str:
        """For people."""
        return f"Oxidation rate from {self.runs} own runs: {self.multiplier:.2f} times the model's."


@dataclass(frozen=True)
class OxidationSays:
    """One finished run on the floor, its readings, and what each rate would have given.

    Parameters
    ----------
    done : Done
        The run.
    read : tuple of StageReading
        Of theaflavin or of the oxidised share, in order.
    value : tuple of tuple of float
        For each of `NODES`, each reading by the model.
    warmer : tuple of float
        Change of each with one standard deviation of the heat of oxidation.
    trouble : str
        Why the run says nothing; empty when it does.
    """

    done: Done
    read: tuple[StageReading, ...]
    value: tuple[tuple[float, ...], ...] = ()
    warmer: tuple[float, ...] = ()
    trouble: str = ""

    def log_likelihood(self) -> Array | None:
        """Of the lot's log rate on `LOG_RATES`; None when no rate in reach gives what was read."""
        if self.trouble or self._farthest() > FAR_SD:
            return None
        return self._courses().log_likelihood(*self._seen(), LOG_RATES)

    def why_not(self) -> str:
        """Why it says nothing, for people; empty when it does."""
        if self.trouble or self._farthest() <= FAR_SD:
            return self.trouble
        shown = ", ".join(
            f"{100.0 * r.value:.2f} % at {60.0 * r.time_h:.0f} min" for r in self.read
        )
        return f"No rate and no yield in reach give what was read ({shown})."

    def theaflavin(self, log_mean: float, log_sd: float) -> tuple[float, float] | None:
        """Theaflavin at its last reading over a normal belief of the log rate: mean and sd.

        None when only a colour was read.
        """
        last = self.last_theaflavin
        if last is None:
            return None
        weight = np.exp(-0.5 * ((LOG_RATES - log_mean) / log_sd) ** 2)
        weight /= weight.sum()
        values = self._courses().on(LOG_RATES)[:, self.read.index(last)]
        mean = float(weight @ values)
        by_rate = float(weight @ (values - mean) ** 2)
        yields = math.expm1(oxidise.figure("all.theaflavin_log_sd") ** 2)
        return mean, math.sqrt(by_rate + yields * mean**2)

    @property
    def last_theaflavin(self) -> StageReading | None:
        """The last reading of theaflavin."""
        found = [r for r in self.read if r.quantity == "theaflavin_fraction"]
        return found[-1] if found else None

    def _courses(self) -> oxidise.RateCourses:
        return oxidise.RateCourses(
            NODES,
            np.array(self.value),
            np.array(self.warmer),
            tuple(r.quantity for r in self.read),
        )

    def _seen(self) -> tuple[Array, Array]:
        return (
            np.array([r.value for r in self.read]),
            np.array([r.standard_uncertainty for r in self.read]),
        )

    def _farthest(self) -> float:
        return self._courses().farthest(*self._seen(), LOG_RATES)


def readings_that_speak(machine: Equipment, done: Done) -> tuple[StageReading, ...]:
    """Readings of a run that tell how far its leaf was oxidised."""
    read = with_shares(machine, done.read)
    return tuple(r for r in read if r.quantity in oxidise.SPEAKS)


def courses_of(
    works: Works, machine: Equipment, done: Done, read: Sequence[StageReading]
) -> dict[str, Any]:
    """What the floor's model gives at the readings for each of `NODES`, or why it gives nothing."""
    if not read:
        return {"trouble": _LINK}
    ask = asked_again(works, machine, done)
    try:
        found = oxidise.by_rate(floor_of(machine, ask.settings), oxidise_run_of(ask), read, NODES)
    except BadInput as error:
        return {"trouble": str(error)}
    return {
        "value": [list(row) for row in found.value.round(8).tolist()],
        "warmer": found.warmer.round(8).tolist(),
    }
