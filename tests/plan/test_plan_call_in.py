"""How much leaf to call in, against the book example and against plain averaging."""

import numpy as np
import pytest

from wareleaf.measure import BadInput
from wareleaf.plan.call_in import call_in, call_in_from_samples


def test_the_book_example():
    # Newsvendor book example in the project's planning notes, section 6.4: mean 200, sd 80,
    # Cu 8, Co 4 -> z 0.44, order 235.2 with the table's rounding; 234.5 exactly.
    found = call_in(200.0, 80.0, idle_price_per_kg=8.0, spoil_price_per_kg=4.0)
    assert found.critical_ratio == pytest.approx(2.0 / 3.0)
    assert found.quantity_kg == pytest.approx(234.5, abs=0.05)
    assert 234.4 <= found.quantity_kg <= 235.2


def test_dear_spoilage_calls_less_than_the_mean():
    assert call_in(200.0, 80.0, idle_price_per_kg=2.0, spoil_price_per_kg=8.0).quantity_kg < 200.0


def test_no_other_quantity_costs_less_on_average():
    rooms = np.random.default_rng(4).normal(200.0, 80.0, 400_000)

    def cost(q):
        return 8.0 * np.maximum(rooms - q, 0).mean() + 4.0 * np.maximum(q - rooms, 0).mean()

    found = call_in(200.0, 80.0, idle_price_per_kg=8.0, spoil_price_per_kg=4.0)
    # 400,000 draws: the mean of the cost is known to about 0.5 %.
    assert found.expected_cost == pytest.approx(cost(found.quantity_kg), rel=0.01)
    assert cost(found.quantity_kg) < min(cost(215.0), cost(255.0))


def test_samples_and_the_bell_curve_agree():
    rooms = np.random.default_rng(5).normal(900.0, 60.0, 20_000)
    seen = call_in_from_samples(list(rooms), idle_price_per_kg=3.0, spoil_price_per_kg=5.0)
    bell = call_in(900.0, 60.0, idle_price_per_kg=3.0, spoil_price_per_kg=5.0)
    assert seen.quantity_kg == pytest.approx(bell.quantity_kg, abs=3.0)
    assert seen.expected_cost == pytest.approx(bell.expected_cost, rel=0.03)


def test_a_certain_room_is_called_in_full():
    assert call_in(500.0, 0.0, idle_price_per_kg=1.0, spoil_price_per_kg=9.0).quantity_kg == 500.0


@pytest.mark.parametrize(
    ("prices", "field"), [((-1.0, 1.0), "idle_price_per_kg"), ((0.0, 0.0), "idle_price_per_kg")]
)
def test_bad_prices_are_refused_by_name(prices, field):
    with pytest.raises(BadInput) as caught:
        call_in(1.0, 1.0, idle_price_per_kg=prices[0], spoil_price_per_kg=prices[1])
    assert caught.value.problems[0].field == field
    with pytest.raises(BadInput, match="room_kg"):
        call_in_from_samples([], idle_price_per_kg=1.0, spoil_price_per_kg=1.0)
