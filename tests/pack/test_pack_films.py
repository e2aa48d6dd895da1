"""Film figures and their units."""

import math

import pytest

from wareleaf import pack
from wareleaf.measure import BadInput, Evidence


def test_american_units():
    # 1 g mil/(100 in2 day) is 0.3937 g mm/(m2 day) and 15.5 g/(m2 day) at 25.4 um (definitions).
    assert pack.wvtr_g_m2_day(1.0, 25.4) == pytest.approx(15.5, abs=5e-5)
    assert pack.wvtr_g_m2_day(1.0, 1000.0) == pytest.approx(0.3937, abs=5e-5)
    # Sablani (2010), Table 11.2: LDPE 1 to 2, oriented PP 0.2 to 0.5 -> 15.5 to 31, 3.1 to 7.8.
    ldpe, opp = pack.film("ldpe"), pack.film("pp_oriented")
    assert (ldpe.wvtr_low_g_m2_day, ldpe.wvtr_high_g_m2_day) == pytest.approx(
        (15.5, 31.0), rel=1e-5
    )
    assert (opp.wvtr_low_g_m2_day, opp.wvtr_high_g_m2_day) == pytest.approx((3.1, 7.75), rel=1e-5)
    assert ldpe.evidence is Evidence.READ


def test_a_thicker_film_lets_less_through():
    assert pack.film("ldpe", 50.8).wvtr_g_m2_day == pytest.approx(
        pack.film("ldpe").wvtr_g_m2_day / 2.0
    )


def test_published_permeance_agrees_with_the_textbook_range():
    # PE 2.935e-3 g/(m2 d Pa) at 37.8 C and 75 % (2017, secondary) is 14.4 g/(m2 d) there (derived
    # in the reference notes); back through our function it must give the same permeance.
    assert pack.permeance_g_m2_day_pa(14.4, 37.8, 0.75) == pytest.approx(2.935e-3, rel=0.005)


def test_range_is_taken_as_rectangular():
    film = pack.film("pet_pe")  # 5 to 10
    assert film.wvtr_g_m2_day == 7.5
    assert film.relative_standard_uncertainty == pytest.approx(2.5 / math.sqrt(3.0) / 7.5)


def test_every_film_has_a_range_and_a_source():
    for name in pack.film_ids():
        film = pack.film(name)
        assert 0.0 <= film.wvtr_low_g_m2_day <= film.wvtr_high_g_m2_day < 1000.0
        assert film.source
        assert film.relative_standard_uncertainty < 0.6


@pytest.mark.parametrize(
    "call",
    [
        lambda: pack.film("cellophane"),
        lambda: pack.film("pet_pe", 30.0),
        lambda: pack.wvtr_g_m2_day(1.0, 0.0),
        lambda: pack.permeance_g_m2_day_pa(5.0, 38.0, 0.0),
        lambda: pack.permeance_g_m2_day_pa(-5.0, 38.0, 0.9),
    ],
)
def test_bad_input(call):
    with pytest.raises(BadInput):
        call()
