"""Outside checks of water vapour and of the air outdoors."""

from collections.abc import Iterator

import iapws
import psychrolib

from cabinvigil.daemon.air import (
    atmosphere,
    moisture,
)
from cabinvigil.daemon.air.atmosphere import OutsideAir
from tests.air.outside.check import Check, row, share
from tests.air.published import value


def vapour() -> Iterator[Check]:
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temp_c in (-20, 5, 25):
        published = row("psat_ashrae", t_c=temp_c)["p"]
        yield share(
            f"saturation at {temp_c} C, Pa",
            "ASHRAE Handbook 2017, ch. 1 Table 3",
            published,
            100 * moisture.saturation_hpa(temp_c),
            3e-4,
            "the Handbook claims 300 ppm for its formula",
        )
    for temp_c in (10, 30):
        yield share(
            f"saturation at {temp_c} C, Pa",
            "IAPWS-IF97 steam tables, by the iapws library",
            iapws.iapws97._PSat_T(temp_c + 273.15) * 1e6,
            100 * moisture.saturation_hpa(temp_c),
            1e-3,
            "check_values asks 0.1 %",
        )
    yield share(
        "vapour over ice at -10 C, Pa",
        "an engineering table of saturated ice",
        row("ice_pressure_toolbox", t_c=-10)["p"],
        100 * moisture.saturation_hpa(-10),
        3e-3,
        "its -20 C row stands 0.5 % above ASHRAE's",
    )
    for temp_c, rh in ((20, 60), (5, 80)):
        yield Check(
            f"dew point of {temp_c} C and {rh} %, C",
            "PsychroLib 2.5",
            psychrolib.GetTDewPointFromRelHum(temp_c, rh / 100),
            moisture.dew_point_c(temp_c, rh),
            0.05,
            "its own search stops at 0.001 K; check_values asks 0.05 K",
        )
    example = row("psychro_example1", q="enthalpy J/kg")
    ratio = psychrolib.GetHumRatioFromTWetBulb(40, 20, 101325)
    yield Check(
        "enthalpy of 40 C, wet bulb 20 C, J/kg",
        "ASHRAE Handbook 2017, ch. 1 Example 1",
        example["v"],
        moisture.enthalpy_j_kg(40, ratio),
        example["tol"],
        "read off a chart, the Handbook's own tolerance",
    )


def air_outside() -> Iterator[Check]:
    for altitude in (500, 1000):
        yield Check(
            f"standard pressure at {altitude} m, Pa",
            "ASHRAE Handbook 2017, ch. 1 Table 1",
            row("std_atm_ashrae", alt_m=altitude)["p_pa"],
            100 * atmosphere.pressure_hpa(altitude),
            2.0,
            "geometric or geopotential height",
        )
    o2_hpa = 0.20946 * atmosphere.pressure_hpa(value("o2_altitude_equal_195"))
    yield Check(
        "sea-level percent of clean air at 610 m",
        "McManus 2009, oxygen and regulatory limits",
        19.5,
        atmosphere.sea_level_equivalent_pct(o2_hpa),
        0.05,
        "the height is rounded to 10 m",
    )
    wet = OutsideAir(40.0, 100.0, 0.0, 20.946).mixture(1013.25)
    yield Check(
        "oxygen of saturated air at 40 C, %",
        "Dalton's law with IAPWS-IF97",
        20.946 * (1 - iapws.iapws97._PSat_T(313.15) * 1e6 / 101325),
        100 * wet.o2,
        0.01,
        "0.1 % of the vapour",
    )
