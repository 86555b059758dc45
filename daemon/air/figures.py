"""What a cabin is where nobody says: one set for plan, morning and rehearsal.

Each figure stands here once, with its source.  "Our choice" and "common practice, no
source" mark what has none; "unverified" what was not read again; names such as
`co2_outdoor` are entries of check_values, S1 and the like those of cases.md.

Where the safe side and the likely are not the same, there are two figures: `PLANNED_`
is what a plan counts with, since it must not be too good; `LIKELY_` is what an account
of a night that was takes, since it must not be off to either side.
"""

from typing import NamedTuple

Triple = tuple[float, float, float]
"""Least, likeliest and most."""

# --- the shell -----------------------------------------------------------------------

SHELL_PER_VOLUME = 6.1
"""Shell area over volume to the two thirds: a box of 2.9 x 2.0 x 1.9 m (a cube: 6)."""
GLASS_SHARE = 0.04
"""Panes as a share of the shell: 1.2 m2 on 11 m3 (own scenario)."""
GLASS_U_W_M2K = 2.8
"""The coldest pane: double glazing; a single pane has 5.8 (common practice, no
source)."""
WALL_U_W_M2K = 1.25
"""Panels of 30 mm of foam have 0.97 (0.035 W/(m K) and the surface resistances of ISO
6946, as quoted); frames, joints, door and floor add some 30 % (own judgement).
With its panes a shell then has 1.3 on the mean, between the 1.7 and the 1.2 that EN
1645-1 grants caravans of its second and third level of insulation (unverified; no
measured trailer, van or boat was found).  Bare steel or solid laminate passes four
times as much, so such a cabin should state its `wall_w_k`."""
WALL_SPREAD = (0.75, 1.3)
"""What the heat through the walls may be off by: joints, damp and wind (own
judgement)."""
LEAST_WALL_U_W_M2K = 0.1
"""What is left for the walls where the panes alone would pass all that was stated."""
HEAT_CAPACITY_J_M2K = 8.3e3
"""Lining, bunks and bedding that warm within hours, for each m2 of shell: 250 kJ/K on
11 m3, which heats by 20 K in an hour and a half on high (own estimate)."""
LEAK_PER_H: Triple = (0.1, 0.3, 1.0)
"""Air changes of a panel-built sleeping space with every vent shut: own judgement.
Measured: 0.45 to 1.16 in one office, 0.01 and more in tight bedrooms (cases.md, S20,
S16); no van or trailer was found."""
LEAK_SPREAD = (0.6, 1.6)
"""What a leak that was stated may be off by: one office spread by a factor of 2.6 over
six nights (cases.md, S20)."""
VENT_HEIGHT_M = 1.6
"""Between the middles of a floor and a roof vent (own scenario)."""

# --- the air outdoors ----------------------------------------------------------------

FRESH_CO2_PPM = 425.0
"""Carbon dioxide of fresh air: Mauna Loa's mean of 2024 was 424.6, and it grows by 2
to 4 ppm a year (`co2_outdoor`).  Stated as `outdoor_co2_ppm`, since a valley or a car
park differs by more."""
FRESH_O2_PCT = 20.7
"""Oxygen of fresh air as it is breathed in an aired cabin: 20.95 % of the dry air, with
the 1.2 % of vapour of 15 °C and 70 %."""
OUTSIDE_RH_PCT = 85.0
"""A winter's night (our choice); at -9 °C the whole range from 70 to 100 % is 0.9 hPa
of vapour, a tenth of what is inside."""
ALTITUDE_M = 0.0
"""The sea's, as sensors and the dose of carbon monoxide take it where nothing tells
the pressure."""
PLANNED_WIND_MPS = 0.0
"""Still air: the night that a plan must come through, since wind helps most vents."""
LIKELY_WIND_MPS = 1.0
"""What blows at a sheltered cabin on most nights; dead calm is rare, so that zero would
call every vent freer than it is (our choice)."""

# --- the people ----------------------------------------------------------------------

PLANNED_PEOPLE = 2.0
"""Berths of the example; rather one too many than too few."""
LIKELY_PEOPLE, LIKELY_PEOPLE_SD = 1.5, 0.7
"""One or two, and at times nobody or three (own judgement)."""
SLEEPER_AGE_YEARS, SLEEPER_MASS_KG = 40.0, 80.0
"""A man in his middle years, who breathes more than most: the safe side (own
choice)."""
RESPIRATORY_QUOTIENT = 0.85
"""CO2 given per O2 used, usual diet (Persily and de Jonge 2017; 0.83 elsewhere:
`people_rq`)."""
ASLEEP_MET = 0.95
"""Energy use asleep, in basal rates (Compendium of Physical Activities 2011,
code 07030; `people_met_compendium`)."""
AWAKE_MET = 1.2
"""Sitting, quiet (ASHRAE; `people_co2_table`)."""
ASLEEP_WATER_G_H = 30.0
"""Between the 20 and the 40 g/h of `people_water` and `people_water_bs5250`."""
LIKELY_WATER_G_H = 35.0
"""The same for an account: 20 to 40 asleep, and what dries of clothes and towels that
somebody brought in (own judgement)."""
AWAKE_WATER_G_H = 50.0
"""Sedentary, the middle of 40 to 60 (`people_water`)."""
ASLEEP_CO2_L_H = 11.0
"""A sleeper's CO2 as measured: eleven people in a capsule, 11.0 +/- 1.4 L/h (cases.md,
S4; taken as litres at 20 °C and 1013 hPa, which the abstract does not say).  An account
takes it; a plan keeps the 12.4 of its sturdy sleeper, who is on the safe side."""
ASLEEP_SPREAD = 0.15
"""Relative spread of a sleeper's CO2: 11.0 +/- 1.4 L/h in the capsule of S4 (cases.md),
13 %, and the respiratory quotient."""

LEAST_O2_PER_CO2 = 0.9
"""Moles of oxygen that go for each mole of carbon dioxide that comes, at the least:
a quotient of 1.0 (sugars alone) makes 1.0 on a dry basis, a flame 1.5 and more; a tenth
for what a CO2 part reads too high."""
MOST_O2_PER_CO2 = 1.9
"""The same at the most, vapour taken out: 1.83 for methane (2 O2, wet flame dry gas,
net moles), 1.53 for propane; a little room for gain errors of the CO2 part."""
MOST_O2_PER_CO2_WET = 2.4
"""The same as breathed, where nobody measures humidity."""

# --- the burner ----------------------------------------------------------------------

POWER_SPREAD = 0.10
"""A heater's real gas use against its label (common practice, no source)."""
POWER_AND_VOLUME_SPREAD = 0.12
"""The same, seen through the cabin's CO2: the stated volume is some 7 % off, too (own
judgement)."""
LIKELY_BURNER_KW, LIKELY_BURNER_SD_KW = 1.2, 0.8
"""A burner of which nothing is stated (own judgement)."""
CLEAN_CO_FRACTION = 0.0025
"""Share of the carbon that leaves a clean unvented heater as CO: 0.0023 to 0.0029 was
measured on a catalytic propane heater (US CPSC 2003, S1)."""
CUT_OFF_O2_PCT = 18.0
"""Oxygen as breathed at which an unvented room heater's own cut-off acts: a rule of the
US CPSC of 1980, revoked in 1984 for a voluntary one (both releases read).  Camping
heaters follow others, or none: a plan must not count on it."""
FLAME_OUT_O2_PCT: Triple = (9.0, 14.0, 15.6)
"""Dry oxygen at which a burner without a cut-off goes out: nobody knows.  In eight shut
rooms the last read, the flame still lit, was 14.8 to 15.6; to each test's end it was
extrapolated, 12.8 to 15.0, and 14 is their middle.  With a little exhaust one burned on
where a sample near the ceiling read 9.1, another 8.7, which is no room's mean: the low
end (cases.md, S23)."""

AIRED_C = 18.0
"""A cabin that was just aired and whose lining is still warm (our choice)."""


class ExampleCabin(NamedTuple):
    """The trailer *Lapwing* of our own scenario, as config/cabin.toml states it."""

    volume_m3: float = 11.0
    people: float = PLANNED_PEOPLE
    altitude_m: float = 640.0
    vent_low_cm2: float = 150.0
    vent_high_cm2: float = 150.0
    vent_height_m: float = VENT_HEIGHT_M
    burner_height_m: float = 0.3
    """Of the flame above the floor: the heater stands on it."""
    burner_kw: float = 1.6
    burner_low_kw: float = 0.8
    cylinder_kg: float = 5.0
    glass_u_w_m2k: float = GLASS_U_W_M2K
    wall_w_k: float = 28.0
    """Better built than most, and tighter: its crew sleeps out all winter."""
    leak_per_h: float = 0.15
    outside_c: float = -9.0
    outside_rh_pct: float = OUTSIDE_RH_PCT
    wind_mps: float = PLANNED_WIND_MPS
    outdoor_co2_ppm: float = FRESH_CO2_PPM


EXAMPLE = ExampleCabin()
"""What `plan` takes where nothing is asked for, and the rehearsal where a config is
silent; tests/air/test_figures.py compares it with the file."""


def shell_m2(volume_m3: float) -> float:
    """Estimate the area of walls, floor, roof and panes."""
    return float(SHELL_PER_VOLUME * volume_m3 ** (2.0 / 3.0))


def glass_m2(volume_m3: float) -> float:
    """Estimate the area of the panes."""
    return GLASS_SHARE * shell_m2(volume_m3)


def glass_u(stated_w_m2k: float | None) -> float:
    """Return the coldest pane's U-value in W/(m2 K): as stated, else the usual."""
    return GLASS_U_W_M2K if stated_w_m2k is None else stated_w_m2k


def stated_of_shell(
    stated: float | None, example: float, volume_m3: float | None
) -> float | None:
    """Return what is stated of a shell's walls or leak; None: it must be estimated.

    Where no volume is stated the example's stands in, and with it walls and leak.
    """
    return example if stated is None and volume_m3 is None else stated


def wall_loss_w_k(
    volume_m3: float,
    stated_w_k: float | None = None,
    stated_glass_w_m2k: float | None = None,
) -> float:
    """Return the heat that walls and panes pass: as stated, else estimated.

    Estimated, it grows with the shell, so with the volume to the two thirds: a cabin
    twice as long, wide and high has eight times the air and four times the walls.  In
    step with the volume, a hut of 80 m3 would have twice its walls' loss and be called
    8 K too cold and its dry panes wet.
    """
    if stated_w_k is not None:
        return stated_w_k
    panes_m2 = glass_m2(volume_m3)
    walls_w_k = WALL_U_W_M2K * (shell_m2(volume_m3) - panes_m2)
    return walls_w_k + glass_u(stated_glass_w_m2k) * panes_m2


def heat_capacity_j_k(volume_m3: float) -> float:
    """Estimate what warms with the air within hours: lining and bunks, by the shell."""
    return HEAT_CAPACITY_J_M2K * shell_m2(volume_m3)


def leak_per_h(stated_per_h: float | None) -> Triple:
    """Return the least, likeliest and most air changes with every vent shut."""
    if stated_per_h is None:
        return LEAK_PER_H
    low, high = LEAK_SPREAD
    return stated_per_h * low, stated_per_h, stated_per_h * high


def wall_u(volume_m3: float, loss_w_k: float, glass_w_m2k: float) -> float:
    """Return the walls' U-value in W/(m2 K): what the panes leave of the loss."""
    panes_m2 = glass_m2(volume_m3)
    walls_w_k = loss_w_k - glass_w_m2k * panes_m2
    return max(LEAST_WALL_U_W_M2K, walls_w_k / (shell_m2(volume_m3) - panes_m2))
