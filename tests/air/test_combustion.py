"""Burning against published heats and products, and the conservation of atoms."""

import chemicals
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.air.combustion import (
    CO2_KG_MOL,
    CO_HEAT_KJ_MOL,
    FUELS,
    H2O_KG_MOL,
    ISOBUTANE,
    METHANE,
    N_BUTANE,
    O2_KG_MOL,
    PROPANE,
    burn,
    mix,
    power_kw_hhv,
)
from tests.air.published import rows

CAS = {
    "methane": "74-82-8",
    "propane": "74-98-6",
    "butane": "106-97-8",
    "isobutane": "75-28-5",
}
NAMES = {"propane": PROPANE, "n-butane": N_BUTANE, "isobutane": ISOBUTANE}


@pytest.mark.parametrize("name", sorted(CAS))
def test_heats_of_burning_agree_with_the_chemicals_library(name):
    """`chemicals` 1.5, heats of formation of the CRC Handbook (not the ones used)."""
    fuel = FUELS[name]
    formation = chemicals.Hfg(CAS[name], method="CRC") / 1000
    co2, vapour = chemicals.Hfg("124-38-9", method="CRC") / 1000, -241.8
    water = chemicals.Hfl("7732-18-5", method="CRC") / 1000
    lower = formation - fuel.carbon * co2 - fuel.hydrogen / 2 * vapour
    higher = formation - fuel.carbon * co2 - fuel.hydrogen / 2 * water
    assert fuel.lhv_kj_mol == pytest.approx(lower, rel=1e-3)
    assert fuel.hhv_kj_mol == pytest.approx(higher, rel=1e-3)
    assert 1000 * fuel.kg_mol == pytest.approx(chemicals.MW(CAS[name]), rel=1e-4)


@pytest.mark.parametrize("row", rows("fuel_heats_table"), ids=lambda r: r["fuel"])
def test_heats_agree_with_trade_tables(row):
    """Property tables of the trade: 0.3 % for pure gases, 1.5 % for commercial."""
    fuel = NAMES.get(row["fuel"], PROPANE)
    tolerance = 3e-3 if row["fuel"] in NAMES else 1.5e-2
    assert fuel.hhv_mj_kg == pytest.approx(row["hhv"], rel=tolerance)
    if "lhv" in row:
        assert fuel.lhv_mj_kg == pytest.approx(row["lhv"], rel=tolerance)


@pytest.mark.parametrize(
    "row", rows("fuel_products_per_kwh"), ids=lambda r: f"{r['fuel']} {r['basis']}"
)
def test_products_of_a_kilowatt_hour(row):
    """check_values `fuel_products_per_kwh`, litres at 20 °C and 1 atm; 0.5 %."""
    fuel = NAMES[row["fuel"]]
    kw = 1.0 if row["basis"] == "HHV" else fuel.hhv_kj_mol / fuel.lhv_kj_mol
    flame = burn(fuel, kw)
    litre = 24.055 * 3600
    assert 3.6e6 * flame.fuel_mol_s * fuel.kg_mol == pytest.approx(
        row["fuel_g"], rel=5e-3
    )
    assert litre * flame.o2_mol_s == pytest.approx(row["o2_l"], rel=5e-3)
    assert litre * flame.co2_mol_s == pytest.approx(row["co2_l"], rel=5e-3)
    assert 3.6e6 * flame.h2o_mol_s * H2O_KG_MOL == pytest.approx(row["h2o_g"], rel=5e-3)


@pytest.mark.parametrize("row", rows("fuel_mass_ratios"), ids=lambda r: r["fuel"])
def test_mass_closes(row):
    """1 kg of fuel and its oxygen weigh what CO2 and water weigh."""
    fuel = NAMES[row["fuel"]]
    flame = burn(fuel, 1.0)
    kg = flame.fuel_mol_s * fuel.kg_mol
    o2 = flame.o2_mol_s * O2_KG_MOL / kg
    co2 = flame.co2_mol_s * CO2_KG_MOL / kg
    h2o = flame.h2o_mol_s * H2O_KG_MOL / kg
    assert (o2, co2, h2o) == pytest.approx(
        (row["o2"], row["co2"], row["h2o"]), rel=2e-3
    )
    assert 1 + o2 == pytest.approx(co2 + h2o, abs=1e-9)


def test_oxygen_per_carbon_dioxide():
    """check_values `fuel_o2_co2_ratio`: what ties the O2 cell to the CO2 sensor."""
    for row in rows("fuel_o2_co2_ratio"):
        if row["source"] in NAMES:
            assert NAMES[row["source"]].o2_per_co2 == pytest.approx(
                row["ratio"], abs=5e-4
            )


fuels = st.sampled_from(list(FUELS.values()))
powers = st.floats(0.0, 50.0)
shares = st.floats(0.0, 1.0)


@given(fuels, powers, shares)
def test_atoms_are_conserved(fuel, kw, co_fraction):
    """C, H and O that go in come out, to 1e-9, however sooty the flame."""
    flame = burn(fuel, kw, co_fraction)
    carbon = flame.co2_mol_s + flame.co_mol_s
    oxygen = 2 * flame.co2_mol_s + flame.co_mol_s + flame.h2o_mol_s
    assert carbon == pytest.approx(fuel.carbon * flame.fuel_mol_s, rel=1e-9, abs=1e-15)
    assert 2 * flame.h2o_mol_s == pytest.approx(
        fuel.hydrogen * flame.fuel_mol_s, rel=1e-9, abs=1e-15
    )
    assert oxygen == pytest.approx(2 * flame.o2_mol_s, rel=1e-9, abs=1e-15)
    assert min(flame.o2_mol_s, flame.co2_mol_s, flame.co_mol_s) >= 0.0


@given(fuels, powers, shares)
def test_energy_is_conserved(fuel, kw, co_fraction):
    """Heat made and heat left in the CO are the gas's; HHV less LHV is the steam's."""
    flame = burn(fuel, kw, co_fraction)
    left_w = 1000 * flame.co_mol_s * CO_HEAT_KJ_MOL
    assert flame.heat_hhv_w + left_w == pytest.approx(1000 * kw, rel=1e-9, abs=1e-9)
    steam_w = flame.h2o_mol_s * 44_003  # J/mol at 25 °C, from memory
    assert flame.heat_hhv_w - flame.heat_lhv_w == pytest.approx(
        steam_w, rel=1e-4, abs=1e-6
    )


def test_a_mix_by_mass_is_not_a_mix_by_mole():
    """Half propane, half butane by mass is 57 % propane by mole."""
    by_mass = mix({"propane": 0.5, "butane": 0.5}, by="mass")
    assert by_mass.carbon == pytest.approx(4 - 0.5686, abs=1e-3)
    by_mole = mix({"propane": 2, "butane": 2})
    assert by_mole.carbon == pytest.approx(3.5)
    assert by_mole.hhv_kj_mol == pytest.approx(
        (PROPANE.hhv_kj_mol + N_BUTANE.hhv_kj_mol) / 2
    )


@pytest.mark.parametrize(
    ("shares", "says"),
    [
        ({"petrol": 1.0}, "no gas named"),
        ({"propane": -1.0}, "0 or more"),
        ({}, "above"),
    ],
)
def test_a_mix_that_cannot_be_is_refused(shares, says):
    """One sentence says what is wrong."""
    with pytest.raises(ValueError, match=says):
        mix(shares)


def test_power_of_a_mass_flow():
    """A kilogram of propane an hour is 13.98 kW (check_values `fuel_heats`)."""
    assert power_kw_hhv(PROPANE, 1.0) == pytest.approx(13.98, rel=1e-3)
    assert power_kw_hhv(METHANE, 1.0) == pytest.approx(15.42, rel=2e-3)  # from memory
