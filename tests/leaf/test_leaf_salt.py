"""What salt does to the water in raw kelp, against tables of saturated salts and brines."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from wareleaf import leaf
from wareleaf.leaf.salt import KCL, NACL, STEP_WIDTH, WATER_KG_MOL, water_of_both_kg_kg

# RH (%) over saturated solutions at 5, 10, 15, 20, 25 degC; Padfield's page after Greenspan 1977,
# J. Res. NBS 81A:89, read. Its NaCl cell at 20 degC is known to be good to 0.3 only.
PADFIELD = {"NaCl": [75.7, 75.7, 75.6, 75.7, 75.3], "KCl": [87.7, 86.8, 85.9, 85.1, 84.3]}


@pytest.mark.parametrize("salt", [NACL, KCL])
def test_saturated_salts_stand_where_the_tables_put_them(salt):
    # Wexler's two-constant form is printed as good to 2 %RH generally; here it holds to 0.6.
    t = np.array([5.0, 10.0, 15.0, 20.0, 25.0])
    ours = 100.0 * salt.deliquescence_water_activity(t)
    assert ours == pytest.approx(PADFIELD[salt.name], abs=0.6)


@pytest.mark.parametrize(
    ("salt", "molality", "published"),
    [
        # Water activity of solutions at 25 degC (osmotic tables, from memory).
        (NACL, 0.5, 0.9836),
        (NACL, 1.0, 0.9669),
        (NACL, 3.0, 0.8932),
        (NACL, 6.0, 0.7598),
        (KCL, 1.0, 0.9682),
        (KCL, 3.0, 0.9063),
    ],
)
def test_brine_thins_as_osmotic_tables_say(salt, molality, published):
    # A one-slope law for the number of ions: within 0.01 over the whole range.
    assert salt.brine_water_activity(molality) == pytest.approx(published, abs=0.01)
    back = salt.molality_mol_kg(salt.brine_water_activity(molality))
    assert back == pytest.approx(molality)


def test_saturated_brine_holds_what_its_solubility_says():
    # 35.9 g NaCl and 35.5 g KCl per 100 g water at 25 degC (from memory).
    for salt, grams in ((NACL, 35.9), (KCL, 35.5)):
        edge = salt.deliquescence_water_activity(25.0)
        brine_water = 1.0 / (salt.molality_mol_kg(edge) * salt.molar_mass_kg_mol)
        assert brine_water == pytest.approx(100.0 / grams, rel=0.01)


def test_crystals_hold_no_water_below_their_step():
    assert NACL.water_kg_kg(0.70, 25.0) < 1e-4
    assert KCL.water_kg_kg(0.78, 25.0) < 1e-4
    assert NACL.water_kg_kg(0.79, 25.0) > 2.5


def _rise(profile_id: str, low: float, high: float) -> float:
    p = leaf.profile(profile_id)
    a, b = (leaf.equilibrium_moisture_db(p, w, 25.0, "adsorption") for w in (low, high))
    return (b - a) / (high - low)


def test_raw_kelp_steepens_at_the_salt_step_and_blanched_kelp_does_not():
    # Reference notes, seaweed section 1: unwashed kelp should steepen near 0.70-0.85, blanched or
    # fresh-water-rinsed kelp should not (reasoning there, from NaCl 0.753 and KCl 0.843).
    raw = _rise("sugar_kelp_raw", 0.70, 0.86) / _rise("sugar_kelp_raw", 0.50, 0.68)
    blanched = _rise("sugar_kelp_blanched", 0.70, 0.86) / _rise("sugar_kelp_blanched", 0.50, 0.68)
    assert raw > 10.0
    assert blanched < 3.0
    # At the first brine of both salts, within two widths, against the stretch below it.
    edge = mutual_step(25.0)
    at_step = _rise("sugar_kelp_raw", edge - 0.008, edge + 0.008)
    assert at_step > 10.0 * _rise("sugar_kelp_raw", edge - 0.07, edge - 0.03)


def mutual_step(temperature_c):
    """Water activity at which the two crystals stand together with one brine."""

    def over(aw):
        return sum(float(s.crystal_share(aw, temperature_c)) for s in (NACL, KCL)) - 1.0

    return brentq(over, 0.5, 0.75)


def test_raw_kelp_at_the_start_of_its_brine_has_the_humidity_of_both_crystals():
    raw = leaf.profile("sugar_kelp_raw")
    for t in (15.0, 20.0, 25.0):
        edge = mutual_step(t)
        half_dissolved = leaf.equilibrium_moisture_db(raw, edge, t, "adsorption")
        for moisture in (0.95 * half_dissolved, half_dissolved, 1.1 * half_dissolved):
            aw = leaf.water_activity(raw, moisture, t, "adsorption")
            assert aw == pytest.approx(edge, abs=3.0 * STEP_WIDTH)


def test_two_crystals_dissolve_together_where_they_were_seen_to():
    # Mixed NaCl-KCl particles at 25 degC first dissolve at 72.7 % (Tang and Munkelwitz 1993), and
    # water over both holds 5.1 and 2.2 mol/kg (solubility tables): both from memory. Ours is made
    # of what each salt does alone.
    edge = mutual_step(25.0)
    assert edge == pytest.approx(0.727, abs=0.01)
    assert float(NACL.crystal_share(edge, 25.0)) == pytest.approx(5.1 / 7.3, abs=0.03)


def test_the_share_with_a_crystal_is_the_gibbs_duhem_integral():
    """By quadrature over water activity, the code's own goes over molality."""
    for salt in (NACL, KCL):
        edge = float(salt.deliquescence_water_activity(25.0))
        for aw in (0.60, 0.65, 0.70, 0.74):

            def rise(a, salt=salt):
                return 1.0 / (a * WATER_KG_MOL * salt.molality_mol_kg(a))

            risen, _ = quad(rise, aw, edge)
            assert float(salt.crystal_share(aw, 25.0)) == pytest.approx(np.exp(-risen), rel=1e-6)
        assert float(salt.crystal_share(0.95, 25.0)) == 1.0


@pytest.mark.parametrize("salt", [NACL, KCL])
def test_a_trace_of_the_other_salt_changes_nothing_but_next_to_the_step(salt):
    aw = np.linspace(0.3, 0.99, 400)
    first, last = (0.2, 1e-7) if salt is NACL else (1e-7, 0.2)
    alone = 0.2 * np.asarray(salt.water_kg_kg(aw, 20.0))
    mixed = np.asarray(water_of_both_kg_kg(first, last, aw, 20.0))
    edge = float(salt.deliquescence_water_activity(20.0))
    away = np.abs(aw - edge) > 12.0 * STEP_WIDTH  # the step of one salt is smoothed, this is not
    assert mixed[away] == pytest.approx(alone[away], rel=1e-4, abs=1e-5)
    pair = (0.2, 0.0) if salt is NACL else (0.0, 0.2)
    assert water_of_both_kg_kg(*pair, aw, 20.0) == pytest.approx(alone)


@pytest.mark.parametrize("pair", [(0.06, 0.12), (0.2, 0.01), (0.01, 0.2), (0.1, 0.1)])
def test_water_of_both_salts_only_rises_with_humidity_and_with_salt(pair):
    aw = np.linspace(0.3, 0.999, 5000)
    held = np.asarray(water_of_both_kg_kg(*pair, aw, 20.0))
    assert np.all(np.diff(held) >= 0.0)
    for more in ((pair[0] + 0.01, pair[1]), (pair[0], pair[1] + 0.01)):
        assert np.all(np.asarray(water_of_both_kg_kg(*more, aw, 20.0)) >= held - 1e-12)
    # Where no crystal is left the brines add up, where both are left there is none.
    alone = sum(kg * s.water_kg_kg(aw, 20.0) for kg, s in zip(pair, (NACL, KCL), strict=True))
    assert held[aw > 0.9] == pytest.approx(alone[aw > 0.9], rel=1e-5)  # tail of a smoothed step
    assert np.all(held[aw < 0.66] < 1e-6)
    # Between, help of the other salt: never less than each alone.
    assert np.all(held >= alone - 0.02 * sum(pair))


def test_salted_kelp_stays_below_the_water_activity_seen_in_trials():
    # 30 % w/w dry salt or 40 % w/v brine was used to bring kelp below 0.77 (Univ. Maine thesis
    # etd 4282, abstract): both are saturated, so what counts is the saturated solution.
    salted = leaf.with_figures(
        leaf.profile("sugar_kelp_raw"), {"salt_nacl_fraction": 0.45, "salt_kcl_fraction": 0.0}
    )
    for moisture in (0.5, 0.8, 1.1):
        assert leaf.water_activity(salted, moisture, 20.0) < 0.77


def test_fresh_raw_kelp_is_near_the_sea_it_hung_in():
    # Sea water has a water activity of about 0.98 (from memory); the blade cannot lie above 1 or
    # far below the sea.
    raw = leaf.profile("sugar_kelp_raw")
    fresh = raw.moisture_wb_fresh / (1.0 - raw.moisture_wb_fresh)
    assert 0.975 < leaf.water_activity(raw, fresh, 10.0) < 0.998
