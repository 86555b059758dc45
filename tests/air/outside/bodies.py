"""Outside checks of what people breathe, and of carbon monoxide in their blood."""

from collections.abc import Iterator

from cabinvigil.daemon.air import (
    blood,
    breathing,
    combustion,
)
from tests.air import measured
from tests.air.outside.check import L_S_0C, Check, between, row, share
from tests.air.published import rows, value


def people() -> Iterator[Check]:
    for sex, age in (("M", "30-<40"), ("F", "30-<40")):
        found = row("people_co2_equation", sex=sex, age=age)
        yield share(
            f"CO2 at rest, {sex} {age}, L/s at 0 C",
            "Persily and de Jonge 2017, Table 4",
            found["table"],
            breathing.co2_mol_s_of(found["bmr"], 1.0, 0.85) * L_S_0C,
            0.03,
            "the table is rounded to two digits",
        )
    young = 7 * breathing.flows(breathing.Person("woman", 24, 55)).co2_mol_s
    young += 4 * breathing.flows(breathing.Person("man", 24, 70)).co2_mol_s
    yield Check(
        "CO2 of a sleeper, L/h",
        "Fan et al. 2021, Indoor Air 31",
        11.0,
        young / 11 * 3600 * measured.LITRE_20C_MOL,
        1.4,
        "one sd among the sleepers; masses assumed",
    )
    one = breathing.flows(breathing.Person(water_g_h=0.0))
    yield share(
        "heat of 0.355 L/min of oxygen, W",
        "Zhang et al. 2022, fifty men in a refuge",
        122.5,
        one.heat_w / (one.o2_mol_s * 22.414 * 60) * 0.355,
        0.05,
        "117 to 128 W for 0.34 to 0.37 L/min",
    )
    yield share(
        "oxygen at rest awake, L/h",
        "older ASHRAE form, 1.8 m2 at 1.0 met",
        row("people_o2_ashrae_equation", met=1.0)["o2_l_h"],
        breathing.flows(breathing.Person("man", 40, 70, 1.2, rq=0.83)).o2_mol_s
        * L_S_0C
        * 3600,
        0.10,
        "by skin area there, by mass and basal rate here",
    )


def carbon_monoxide() -> Iterator[Check]:
    yield Check(
        "COHb after 8 h at 100 ppm, %",
        "Stewart et al. 1970, measured [memory]",
        12.0,
        blood.cohb_after_nonlinear(100, 480),
        2.0,
        "11 to 13 measured, and a point more",
    )
    for ppm in (25, 50):
        yield Check(
            f"COHb after 8 h at {ppm} ppm, %",
            "Peterson and Stewart 1970, fit [memory]",
            row("co_ps1970_fit", ppm=ppm)["cohb"],
            blood.cohb_after_nonlinear(ppm, 480),
            2.0,
            "their subjects' own spread",
        )
    worker = blood.Body(diffusing_ml_min_mmhg=1e9, alveolar_ml_min=713 / 0.0404)
    yield Check(
        "COHb after 50 min at 150 ppm, hard work, %",
        "UL 2034's curve [memory]",
        row("co_ul2034_cohb_curve", ppm=150)["cohb"],
        blood.cohb_after(150, 50, 0.0, worker),
        0.7,
        "it takes the whole barometer for the dry one",
    )
    breather = blood.Body(alveolar_ml_min=0.933 * 10_000 - 132 * 16)
    yield share(
        "COHb rise, 1 000 ppm, 10 L/min, 10 min, %",
        "Stewart et al. 1973, fit",
        value("co_stewart1973"),
        blood.cohb_after(1000, 10, 0.0, breather),
        0.20,
        "it and Pace 1946 lie 9 % apart; lung and breath rate unknown",
    )
    yield share(
        "the same",
        "Pace et al. 1946, linear rule",
        value("co_pace1946"),
        blood.cohb_after(1000, 10, 0.0, breather),
        0.25,
        "it and Stewart's fit lie 9 % apart; lung and breath rate unknown",
    )
    # Measured rises of men at rest; their own breathing was measured, and is not told.
    for ppm, minutes, rise, sd in ((1500, 5, 2.08, 0.27), (7500, 1, 2.05, 0.29)):
        start = blood.START_COHB_PCT
        yield Check(
            f"COHb rise, {ppm} ppm for {minutes} min, at rest, %",
            "Tikuisis et al. 1987, eleven men",
            rise,
            blood.cohb_after_nonlinear(ppm, minutes, start) - start,
            sd,
            "one sd among the men",
            "above",
            "ours takes a lung of 6 L/min, theirs 3.6 by the same equation: told early",
        )
    thin = blood.at_air(blood.REST, 696.8, 20.946)
    for pct, seconds in ((0.55, 300), (2.63, 60)):
        start = blood.START_COHB_PCT
        yield Check(
            f"COHb rise, {pct} % for {seconds} s at 3 048 m, %",
            "Hall et al. 1951, US naval aviation medicine",
            7.0,
            blood.cohb_after_nonlinear(1e4 * pct, seconds / 60, start, thin) - start,
            1.3,
            "no spread is told: twice the 9 % by which the rules of the time differ",
            "above",
            "in thin air ours breathes as much more as the air is thinner: told early",
        )


def washout() -> Iterator[Check]:
    def falls_by_half_min(body: blood.Body) -> float:
        floor = blood.plateau_pct(0.0, body)
        low, high = 0.0, 2000.0
        for _ in range(40):
            middle = (low + high) / 2
            left = blood.breathe(20.0, 0.0, 60 * middle, body) - floor
            low, high = (middle, high) if left > (20.0 - floor) / 2 else (low, middle)
        return high

    halves = {r["breathing"]: r["half_life_min"] for r in rows("co_halflife")}
    yield Check(
        "COHb falls by half in air, min",
        "OSHA laboratory's calculator 2002",
        halves["room air"],
        falls_by_half_min(blood.REST),
        1.0,
        "a whole number",
    )
    for name, body in (("an adult", blood.REST), ("a child", blood.CHILD)):
        yield between(
            f"COHb of {name} falls by half in air, min",
            "World Health Organization, quoted: 2 to 6.5 h",
            halves["room air, WHO range low"],
            halves["room air, WHO range high"],
            falls_by_half_min(body),
            "the range itself",
        )
    yield between(
        "half-life at rest by the constants alone, min",
        "emergency medicine's 3 to 5 h [memory]",
        180.0,
        300.0,
        blood.half_life_min(),
        "the range itself; where blood falls the slower 320 is taken",
    )
    oxygen = blood.at_air(blood.REST, 1013.25, 100.0)
    yield Check(
        "half-life on oxygen, tightly controlled, min",
        "Weaver et al. 2000, citing experiments",
        36.0,
        blood.half_life_min(oxygen),
        9.0,
        "a quarter: among their 93 patients it was 74 with an sd of a third",
    )
    for ppm in (35, 200):
        found = row("co_cfk_rest", ppm=ppm)
        yield Check(
            f"COHb after {found['t_min']} min at {ppm} ppm, worked out apart, %",
            "computed apart: Coburn et al. by Runge-Kutta",
            found["cohb_nonlinear"],
            blood.cohb_after_nonlinear(ppm, found["t_min"]),
            0.02,
            "printed to 0.01",
        )


def flows_ratio(person: breathing.Person) -> float:
    one = breathing.flows(person)
    return one.co2_mol_s / one.o2_mol_s


def more_people() -> Iterator[Check]:
    for sex, age, schofield in (("man", 25, "M"), ("woman", 65, "F")):
        band = {25: "21-<30", 65: "60-<70"}[age]
        kg = {25: 85.0, 65: 77.0}[age]
        yield share(
            f"CO2 at rest, {sex} of {age}, L/s at 0 C",
            "Persily and de Jonge 2017, Table 4",
            row("people_co2_table", sex=schofield, age=band)["met_1_0"],
            breathing.co2_mol_s_of(breathing.basal_mj_day(sex, age, kg), 1.0, 0.85)
            * L_S_0C,
            0.06,
            "two digits; the masses of that table are taken as 85 and 77 kg [memory]",
        )
    plain = breathing.flows(breathing.Person(water_g_h=0.0))
    o2_l_h = plain.o2_mol_s * 22.414 * 3600
    yield between(
        "heat that goes with 23 L/h of oxygen, W",
        "Bernard 2018, large miners at rest",
        113.0,
        134.0,
        plain.heat_w / o2_l_h * 23.0,
        "the range of theirs",
    )
    sitting = breathing.flows(breathing.awake(breathing.Person()))
    for gas, mol_s, cfm in (
        ("oxygen", sitting.o2_mol_s, 0.011),
        ("CO2", sitting.co2_mol_s, 0.009),
    ):
        yield share(
            f"{gas} of somebody who sits, L/h at 20 C",
            "NAVSEA figures, as a review of refuges tables them",
            cfm * 28.3168 * 60,
            mol_s * measured.LITRE_20C_MOL * 3600,
            0.11,
            "two digits, and 5 kg either way in the body",
        )
    asleep = breathing.flows(breathing.Person(mass_kg=70.0))
    yield share(
        "oxygen asleep, mL/min at 0 C",
        "Advances in Physiology Education 29, 2005",
        250.0,
        asleep.o2_mol_s * 22_414 * 60,
        0.10,
        "chosen there as a round number",
    )
    yield share(
        "energy asleep, kJ/min",
        "a physiology class's 4.6 for men",
        4.6,
        breathing.basal_mj_day("man", 40, 70.0) * breathing.ASLEEP_MET * 1000 / 1440,
        0.05,
        "the body is not told; 70 kg assumed",
    )
    usual = breathing.flows(breathing.Person())
    water_g_h = usual.h2o_mol_s * combustion.H2O_KG_MOL * 3.6e6
    yield between(
        "water of somebody at rest, g/h",
        "The Nature of the Insensible Perspiration",
        18.0,
        36.0,
        water_g_h,
        "nine tenths of 20 to 30 g/h for women and near 40 for men",
    )
    yield between(
        "water of somebody at rest, g/h",
        "BS 5250 [memory]",
        20.0,
        40.0,
        water_g_h,
        "the range of two house-building texts",
    )
    yield Check(
        "oxygen used for each CO2 of a breather",
        "older ASHRAE form, respiratory quotient 0.83",
        row("fuel_o2_co2_ratio", source="person RQ 0.83")["ratio"],
        1 / flows_ratio(breathing.Person()),
        0.06,
        "diets give quotients of 0.8 to 0.87",
    )
