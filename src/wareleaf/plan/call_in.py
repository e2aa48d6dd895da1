"""How much leaf to call in when it is uncertain how much the works can take.

The single-period order quantity: call the quantity q for which the chance that the works can take
it all is ``Cu / (Cu + Co)``, with the room of the works in the place of demand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from wareleaf.measure import require

SOURCE = (
    "Critical ratio Cu/(Cu+Co) of the single-period order quantity, textbook result; "
    "mapping of demand to the works' room is our own."
)


@dataclass(frozen=True)
class CallIn:
    """How much to call.

    ``critical_ratio`` is the wanted chance that the works' room is at most the called quantity;
    ``expected_idle_kg`` and ``expected_spoilt_kg`` are what stays unused and what cannot be taken
    on average; ``expected_cost`` prices both.
    """

    quantity_kg: float
    critical_ratio: float
    expected_idle_kg: float
    expected_spoilt_kg: float
    expected_cost: float
    sentence: str


def call_in(
    room_mean_kg: float, room_sd_kg: float, *, idle_price_per_kg: float, spoil_price_per_kg: float
) -> CallIn:
    """Call-in quantity for a normally spread room.

    Parameters
    ----------
    room_mean_kg, room_sd_kg : float
        What the works can take: mean and standard deviation.
    idle_price_per_kg : float
        Cu, margin lost per kilogram of room that stays idle.
    spoil_price_per_kg : float
        Co, value lost per kilogram called that cannot be taken.

    Returns
    -------
    CallIn
        The quantity (never below 0) and what it costs on average.
    """
    _prices(idle_price_per_kg, spoil_price_per_kg)
    require(
        np.isfinite(room_mean_kg) and room_mean_kg >= 0.0,
        "room_mean_kg",
        room_mean_kg,
        f"room_mean_kg is {room_mean_kg}; it must be 0 or more and finite.",
    )
    require(
        np.isfinite(room_sd_kg) and room_sd_kg >= 0.0,
        "room_sd_kg",
        room_sd_kg,
        f"room_sd_kg is {room_sd_kg}; it must be 0 or more and finite.",
    )
    ratio = idle_price_per_kg / (idle_price_per_kg + spoil_price_per_kg)
    if room_sd_kg == 0.0:
        return _made(room_mean_kg, ratio, (0.0, 0.0), (idle_price_per_kg, spoil_price_per_kg))
    # With one of the prices at 0 the quantile is infinite: keep within four deviations.
    z = float(np.clip(stats.norm.ppf(ratio), -4.0, 4.0))
    quantity = max(0.0, room_mean_kg + z * room_sd_kg)
    z = (quantity - room_mean_kg) / room_sd_kg
    over = room_sd_kg * (float(stats.norm.pdf(z)) + z * float(stats.norm.cdf(z)))
    idle = room_mean_kg - quantity + over
    return _made(quantity, ratio, (idle, over), (idle_price_per_kg, spoil_price_per_kg))


def call_in_from_samples(
    room_kg: Sequence[float], *, idle_price_per_kg: float, spoil_price_per_kg: float
) -> CallIn:
    """Call-in quantity from rooms seen on like days or simulated."""
    _prices(idle_price_per_kg, spoil_price_per_kg)
    rooms = np.sort(np.asarray(room_kg, dtype=float))
    good = rooms.size > 0 and bool(np.all(np.isfinite(rooms))) and bool(np.all(rooms >= 0.0))
    require(good, "room_kg", list(room_kg), "room_kg: give one or more finite numbers, 0 or more.")
    ratio = idle_price_per_kg / (idle_price_per_kg + spoil_price_per_kg)
    at = max(0, int(np.ceil(ratio * rooms.size - 1e-9)) - 1)
    quantity = float(rooms[at])
    idle = float(np.mean(np.maximum(rooms - quantity, 0.0)))
    over = float(np.mean(np.maximum(quantity - rooms, 0.0)))
    return _made(quantity, ratio, (idle, over), (idle_price_per_kg, spoil_price_per_kg))


def _prices(idle: float, spoil: float) -> None:
    for name, value in (("idle_price_per_kg", idle), ("spoil_price_per_kg", spoil)):
        require(
            bool(np.isfinite(value)) and value >= 0.0,
            name,
            value,
            f"{name} is {value}; it must be 0 or more and finite.",
        )
    require(
        idle + spoil > 0.0,
        "idle_price_per_kg",
        idle,
        "idle_price_per_kg and spoil_price_per_kg are both 0; one of them must be above 0.",
    )


def _made(
    quantity: float, ratio: float, spread: tuple[float, float], prices: tuple[float, float]
) -> CallIn:
    idle, over = spread
    cost = prices[0] * idle + prices[1] * over
    return CallIn(
        quantity,
        ratio,
        idle,
        over,
        cost,
        f"Call {quantity:.0f} kg: with chance {100.0 * ratio:.0f} % the works can take less than "
        f"that; on average {idle:.0f} kg of room stays idle and {over:.0f} kg cannot be taken.",
    )
