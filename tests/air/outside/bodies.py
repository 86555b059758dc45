"""Outside checks of what people breathe, and of carbon monoxide in their blood."""

from collections.abc import Iterator

from cabinvigil.daemon.air import (
    blood,
    breathing,
)
from tests.air import measured
from tests.air.outside.check import L_S_0C, Check, row, share
from tests.air.published import value


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
    yield Check(
        "half-life of COHb in air, min",
        "WHO, quoted: 2 to 6.5 h",
        255.0,
        blood.half_life_min(),
        135.0,
        "the range itself",
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
