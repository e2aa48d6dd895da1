"""Leaf in a pack: the closed form, balances, and a published pair of climates."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from wareleaf import pack
from wareleaf.air import saturation_pressure_pa
from wareleaf.measure import BadInput

EVER = math.inf
WARM = pack.Climate(EVER, 27.0, 0.75)


def kelp_pack(**change):
    kw = {
        "isotherm": pack.of_leaf("sugar_kelp_blanched"),
        "dry_matter_kg": 0.45,
        "moisture_db_start": 0.08,
        "moisture_db_limit": 0.16,
        "area_m2": 0.12,
        "permeance_g_m2_day_pa": 8e-4,
    }
    return pack.Pack(**(kw | change))


@settings(deadline=None, max_examples=40)
@given(
    slope=st.floats(0.1, 1.0),
    intercept=st.floats(0.0, 0.05),
    start=st.floats(0.05, 0.3),
    reach=st.floats(0.05, 0.95),
    temperature_c=st.floats(0.0, 40.0),
    relative_humidity=st.floats(0.45, 0.95),
)
def test_straight_isotherm_agrees_with_the_closed_form(
    *, slope, intercept, start, reach, temperature_c, relative_humidity
):
    # Labuza's closed form (standard textbook equation, from memory); both solve the same
    # equation, so only the solver's 1e-8 and the event's root stand between them.
    x0 = intercept + slope * start
    equilibrium = intercept + slope * relative_humidity
    limit = x0 + reach * (equilibrium - x0)
    whole = kelp_pack(
        isotherm=pack.linear(slope, intercept), moisture_db_start=x0, moisture_db_limit=limit
    )
    found = pack.shelf_life(whole, [pack.Climate(EVER, temperature_c, relative_humidity)])
    exact = pack.closed_form_days(
        moisture_db_start=x0,
        moisture_db_limit=limit,
        moisture_db_equilibrium=equilibrium,
        isotherm_slope=slope,
        permeance_g_m2_day_pa=8e-4,
        area_m2=0.12,
        dry_matter_kg=0.45,
        saturation_pressure_pa=float(saturation_pressure_pa(temperature_c)),
    )
    assert found.limiting == "film"
    assert found.days == pytest.approx(exact, rel=1e-5)


def test_closed_form_by_hand():
    # 0.1 m2 and 1e-3 g/(m2 d Pa) on 0.1 kg: 1e-6 a day and pascal; p0 2000, b 0.5: rate 0.004 a
    # day; me 0.35, mi 0.05, mc 0.20: ln 2 / 0.004 = 173.3 days.
    days = pack.closed_form_days(
        moisture_db_start=0.05,
        moisture_db_limit=0.20,
        moisture_db_equilibrium=0.35,
        isotherm_slope=0.5,
        permeance_g_m2_day_pa=1e-3,
        area_m2=0.1,
        dry_matter_kg=0.1,
        saturation_pressure_pa=2000.0,
    )
    assert days == pytest.approx(math.log(2.0) / 0.004, rel=1e-12)


@pytest.mark.parametrize("leaf_id", ["sugar_kelp_raw", "nori_sheet", "tea_black"])
def test_curved_isotherm_agrees_with_quadrature(leaf_id):
    # dt = m dX / (P A psat (RH - aw(X))): the same balance solved another way (scipy.quad).
    isotherm = pack.of_leaf(leaf_id)
    whole = kelp_pack(isotherm=isotherm, moisture_db_start=0.04, moisture_db_limit=0.07)
    climate = pack.Climate(EVER, 30.0, 0.80)
    pull = 8e-4 * 0.12 * float(saturation_pressure_pa(30.0))

    def per_moisture(x):
        return 450.0 / (pull * (0.80 - isotherm.water_activity(x, 30.0)))

    exact = integrate.quad(per_moisture, 0.04, 0.07, epsrel=1e-10, limit=200)[0]
    assert pack.shelf_life(whole, [climate]).days == pytest.approx(exact, rel=1e-5)


def test_packed_tea_in_two_climates():
    # Bhattacharjee et al. (secondary): best sacks 105 days at 38 C 90 %, 315 days at 27 C 65 %,
    # ratio 3.0. The sacks' own figures and the leaf's moistures are not given, so only the ratio is
    # checked; vapour pressures alone give 3.2 (derived in the notes) to 3.6 here, hence 25 %.
    whole = kelp_pack(
        isotherm=pack.of_leaf("tea_black"), moisture_db_start=0.035, moisture_db_limit=0.065
    )
    hot = pack.shelf_life(whole, [pack.Climate(EVER, 38.0, 0.90)]).days
    mild = pack.shelf_life(whole, [pack.Climate(EVER, 27.0, 0.65)]).days
    assert mild / hot == pytest.approx(3.0, rel=0.25)


def test_a_dry_climate_never_ends_the_life():
    found = pack.shelf_life(kelp_pack(), [pack.Climate(EVER, 25.0, 0.20)])
    assert found.days is None
    assert found.limiting == "climate"
    assert not found.beyond_climate


def test_no_film_no_gain():
    found = pack.shelf_life(kelp_pack(permeance_g_m2_day_pa=0.0), [WARM])
    assert found.days is None
    assert found.water_gained_g == 0.0


def test_the_same_climate_in_pieces_is_one_climate():
    whole = kelp_pack()
    one = pack.shelf_life(whole, [WARM])
    pieces = [pack.Climate(d, 27.0, 0.75) for d in (40.0, 1.0, 150.0, 5.0)]
    many = pack.shelf_life(whole, pieces)
    assert many.days == pytest.approx(one.days, rel=1e-6)
    assert many.beyond_climate == (one.days > 196.0)


def test_a_series_ends_where_its_weather_turns_damp():
    dry, damp = pack.Climate(100.0, 20.0, 0.30), pack.Climate(1000.0, 30.0, 0.90)
    found = pack.shelf_life(kelp_pack(), [dry, damp])
    assert 100.0 < found.days < 1100.0
    assert found.series_temperature_c[0] == 20.0
    assert found.series_temperature_c[-1] == 30.0
    assert not found.beyond_climate


@pytest.mark.slow
@settings(deadline=None, max_examples=25)
@given(units=st.floats(0.1, 4.0), start=st.floats(0.03, 0.12), rh=st.floats(0.65, 0.95))
def test_water_is_conserved_between_film_leaf_and_desiccant(units, start, rh):
    bag = pack.desiccant_units(units)
    whole = kelp_pack(desiccant=bag, moisture_db_start=start)
    found = pack.shelf_life(whole, [pack.Climate(EVER, 25.0, rh)])
    assert found.days is not None
    end = found.series_water_activity[-1]
    leaf_gain = 450.0 * (found.series_moisture_db[-1] - start)
    assert found.water_gained_g == pytest.approx(leaf_gain + bag.water(end), rel=1e-6, abs=1e-6)
    assert (
        found.days
        > pack.shelf_life(kelp_pack(moisture_db_start=start), [pack.Climate(EVER, 25.0, rh)]).days
    )
    assert found.series_moisture_db[0] <= start + 1e-12  # the leaf first dries into the bag


def test_desiccant_unit():
    # MIL-D-3464E (read): at least 3.00 g at 20 % and 6.00 g at 40 % relative humidity.
    bag = pack.desiccant_units(2.0)
    assert bag.water(0.2) == pytest.approx(6.0)
    assert bag.water(0.4) == bag.water(0.8) == pytest.approx(12.0)


def test_days_go_with_one_over_permeance():
    one = pack.shelf_life(kelp_pack(), [WARM]).days
    two = pack.shelf_life(kelp_pack(permeance_g_m2_day_pa=16e-4), [WARM]).days
    assert one / two == pytest.approx(2.0, rel=1e-5)


def test_arrhenius_energy_doubles_where_it_should():
    # exp(E/R (1/T1 - 1/T2)) = 2 for E = R ln 2 / (1/T1 - 1/T2), definition.
    energy = 8.314462618 * math.log(2.0) / (1.0 / 300.15 - 1.0 / 311.15)
    whole = kelp_pack(activation_j_mol=energy, permeance_temperature_c=38.0)
    ratio = whole.conductance_g_day_pa(38.0) / whole.conductance_g_day_pa(27.0)
    assert ratio == pytest.approx(2.0)


def test_a_foil_that_lets_next_to_nothing_through_says_horizon():
    slow = kelp_pack(permeance_g_m2_day_pa=1e-7)
    dry = pack.Climate(50_000.0, 20.0, 0.3)
    found = pack.shelf_life(slow, [dry, WARM])
    assert found.days is None
    assert found.limiting == "horizon"


def test_points_isotherm_and_its_refusals():
    iso = pack.of_points([0.1, 0.3, 0.7], [0.05, 0.09, 0.21])
    assert iso.water_activity(0.15, 20.0) == pytest.approx(0.5)
    assert iso.moisture_db(0.2, 20.0) == pytest.approx(0.07)
    for aw, x in (([0.1], [0.1]), ([0.3, 0.1], [0.1, 0.2]), ([0.1, 0.3], [0.2, 0.1])):
        with pytest.raises(BadInput):
            pack.of_points(aw, x)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"dry_matter_kg": 0.0}, "dry_matter_kg"),
        ({"area_m2": -1.0}, "area_m2"),
        ({"moisture_db_start": 0.2}, "moisture_db_start"),
        ({"permeance_g_m2_day_pa": math.nan}, "permeance_g_m2_day_pa"),
    ],
)
def test_packs_that_cannot_be(change, field):
    with pytest.raises(BadInput) as refused:
        kelp_pack(**change)
    assert refused.value.problems[0].field == field


@pytest.mark.parametrize(
    "call",
    [
        lambda: pack.shelf_life(kelp_pack(), []),
        lambda: pack.shelf_life(kelp_pack(), [WARM, WARM]),
        lambda: pack.Climate(0.0, 20.0, 0.5),
        lambda: pack.Climate(1.0, 20.0, 1.5),
        lambda: pack.Climate(1.0, 90.0, 0.5),
        lambda: pack.desiccant_units(0.0),
        lambda: pack.desiccant_units(1.0, 7.0),
        lambda: pack.Desiccant((0.0, 0.4, 0.2), (0.0, 1.0, 2.0)),
        lambda: pack.linear(0.0),
        lambda: pack.of_leaf("moss"),
        lambda: pack.of_model("straight", {}),
    ],
)
def test_bad_input(call):
    with pytest.raises(BadInput):
        call()
