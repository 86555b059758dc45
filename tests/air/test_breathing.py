"""People against Persily and de Jonge, Schofield, the ASHRAE form, and sleepers."""

import pytest

from cabinvigil.daemon.air.breathing import (
    ASLEEP_MET,
    Person,
    awake,
    basal_mj_day,
    co2_mol_s_of,
    flows,
    together,
)
from tests.air.published import rows, value

L_S_0C = 8.314462618 * 273.15 / 101.325  # litres a second of a mole a second, 0 °C


@pytest.mark.parametrize("row", rows("people_co2_equation"), ids=str)
def test_co2_of_the_basal_rate(row):
    """Persily and de Jonge 2017: equation and Table 4, within the 3 % asked for."""
    for rq, key in ((0.85, "eq_rq_085"), (0.83, "eq_rq_083")):
        ours = co2_mol_s_of(row["bmr"], 1.0, rq) * L_S_0C
        assert ours == pytest.approx(row[key], rel=5e-3)
        assert ours == pytest.approx(row["table"], rel=0.03)


def test_basal_rate_of_schofield():
    """check_values: a man of 25 and 84.9 kg has 8.245 MJ a day."""
    assert basal_mj_day("man", 25, 84.9) == pytest.approx(8.245, abs=5e-4)
    for row in rows("people_bmr_schofield"):
        sex = {"M": "man", "F": "woman"}[row["sex"]]
        age = {"18-29": 25, "30-59": 45, "60+": 70}[row["age"]]
        ours = basal_mj_day(sex, age, 70)
        assert ours == pytest.approx(row["a"] * 70 + row["b"])


@pytest.mark.parametrize(
    ("sex", "age", "mass_kg", "band"),
    [("man", 35, 80, "30-<40"), ("woman", 35, 68, "30-<40"), ("man", 25, 80, "21-<30")],
)
def test_sitting_people_against_table_4(sex, age, mass_kg, band):
    """Table 4 at 1.2 met; its masses are not printed there: 8 % for ours."""
    letter = "M" if sex == "man" else "F"
    row = next(
        r for r in rows("people_co2_table") if r["sex"] == letter and r["age"] == band
    )
    ours = flows(awake(Person(sex, age, mass_kg))).co2_mol_s * L_S_0C
    assert ours == pytest.approx(row["met_1_2"], rel=0.08)


def test_sleepers_of_the_capsule():
    """Fan et al. 2021: 7 women and 4 men gave 11.0 +/- 1.4 L/h asleep (cases.md S4).

    Masses of young adults assumed (55 and 70 kg); litres at 20 °C.
    """
    women = 7 * flows(Person("woman", 24, 55)).co2_mol_s
    men = 4 * flows(Person("man", 24, 70)).co2_mol_s
    ours = (women + men) / 11 * 3600 * 24.055
    assert ours == pytest.approx(11.0, abs=1.4)


def test_oxygen_against_the_older_ashrae_form():
    """VO2 = 0.00276 AD M / (0.23 RQ + 0.77): a 1.8 m2 adult at 1.0 met, 18.61 L/h.

    That is at rest awake, by area; ours by mass and basal rate: within 10 %.
    """
    row = next(r for r in rows("people_o2_ashrae_equation") if r["met"] == 1.0)
    person = Person("man", 40, 70, met=1.2, rq=0.83)  # 70 kg and 1.70 m make 1.8 m2
    assert flows(person).o2_mol_s * L_S_0C * 3600 == pytest.approx(
        row["o2_l_h"], rel=0.10
    )


def test_asleep_lies_inside_the_published_band():
    """Between ASHRAE's 0.7 met and the 1.24 measured; the Compendium says 0.95."""
    assert value("people_met_compendium") == ASLEEP_MET
    mets = [row["met"] for row in rows("people_met_sleeping")]
    assert min(mets) < ASLEEP_MET < max(mets)


def test_respiratory_quotient_moves_oxygen_as_published():
    """0.83 against 0.85 changes the oxygen by 2.4 % (check_values `people_rq`).

    Here the CO2 is held: the equation gives it by RQ times energy.
    """
    a, b = flows(Person(rq=0.85)), flows(Person(rq=0.83))
    assert a.co2_mol_s / 0.85 == pytest.approx(a.o2_mol_s)
    assert b.o2_mol_s == pytest.approx(b.co2_mol_s / 0.83)
    assert b.o2_mol_s / b.co2_mol_s == pytest.approx(
        1.024 * a.o2_mol_s / a.co2_mol_s, rel=1e-3
    )


def test_heat_per_litre_of_oxygen():
    """A litre of oxygen is worth 20.5 kJ in a body (from memory; cases.md S5)."""
    one = flows(Person(water_g_h=0.0))
    assert one.heat_w / (one.o2_mol_s * 22.414) == pytest.approx(20_500, rel=0.02)


def test_several_people():
    """Two take twice what one takes; nobody takes nothing."""
    one, two = flows(Person()), together(2, Person())
    assert two.o2_mol_s == pytest.approx(2 * one.o2_mol_s)
    assert two.h2o_mol_s * 0.018015 * 3.6e6 == pytest.approx(60, rel=1e-3)
    assert together(0, Person()).heat_w == 0.0


@pytest.mark.parametrize("age", [12, 250])
def test_ages_beyond_the_equations_are_refused(age):
    """Schofield's rows for children are not carried: a sentence says what to do."""
    with pytest.raises(ValueError, match="years"):
        basal_mj_day("man", age, 70)
