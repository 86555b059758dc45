"""The account that a person reads at bedtime."""

import re
from dataclasses import replace
from random import Random

import pytest

from cabinvigil.daemon.air.figures import EXAMPLE
from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.figures import (
    ACCEPTED,
    BurnWindow,
    CabinPlan,
    cabin_plan,
)
from cabinvigil.daemon.planning.lines import areas, asked
from cabinvigil.daemon.planning.plan import plan
from cabinvigil.daemon.planning.words import account
from cabinvigil.daemon.text.units_said import SI, US

CABINS = {
    "lapwing": CabinPlan(),
    "windows": CabinPlan(burns=(BurnWindow(8.0, 10.0), BurnWindow(18.0, 19.0))),
    "sealed": CabinPlan(vent_low_cm2=0, vent_high_cm2=0, leak_per_h=0.0),
    "no heater": CabinPlan(burner_kw=0.0, people=4, vent_low_cm2=7, vent_high_cm2=7),
    "nobody": CabinPlan(people=0),
    "good": CabinPlan(burner_kw=0.2, people=1, vent_low_cm2=300, vent_high_cm2=300),
    "wet": CabinPlan(glass_u=5.8, vent_low_cm2=60, vent_high_cm2=60),
    "small cylinder": CabinPlan(cylinder_kg=0.465, outside_c=-25.0),
    "butane": CabinPlan(fuel={"butane": 1.0}),
    "steam": CabinPlan(burner_kw=0.0, outside_c=42.0, outside_rh_pct=100.0),
    "bottle": CabinPlan(burner_kw=0.0, vent_low_cm2=0, vent_high_cm2=0, leak_per_h=0.0),
    "breeze": CabinPlan(burner_kw=0.8, wind_mps=1.0),  # a dew point of -0.4
    "pass": CabinPlan(altitude_m=2500.0, burner_kw=0.8, wind_mps=1.0),
    "large": CabinPlan(volume_m3=60.0, wall_w_k=90.0, wind_mps=3.0),
}


@pytest.fixture(scope="module")
def accounts():
    made = {name: plan(cabin) for name, cabin in CABINS.items()}
    return {name: (each, account(each, changes(each))) for name, each in made.items()}


@pytest.mark.parametrize("name", sorted(CABINS))
def test_every_account_has_its_seven_parts_and_fits_a_terminal(accounts, name):
    """Seven numbered parts, 80 columns, no word of a program's inside."""
    _, text = accounts[name]
    for part in range(1, 8):
        assert f"\n{part}. " in text
    assert max(len(line) for line in text.splitlines()) <= 80
    for refused in ("None", "nan", "inf ", "scenario", "Exception", "[", "{", "-0 "):
        assert refused not in text


@pytest.mark.parametrize("name", sorted(CABINS))
def test_a_night_with_a_flame_is_laid_beside_one_without(accounts, name):
    """Both nights side by side, and that sleeping with a flame is advised against."""
    made, text = accounts[name]
    if made.cabin.burner_kw == 0:
        assert "side by side" not in text
        return
    assert "side by side" in text
    assert "advise against" in " ".join(text.split())
    assert "20:00-22:00, 06:00-07:00" in text
    assert "all night" in text


def test_figures_come_from_the_plan(accounts):
    """The Lapwing's own: oxygen, minutes, thumb, gas."""
    made, text = accounts["lapwing"]
    assert f"{made.air.o2_pct[1]:.1f} %" in text
    assert f"{made.shut.minutes_to_o2[19.5][1]:.0f} min" in text
    assert "35 cm² = 5 square inches" in text
    assert "1.03 kg = 14.4 kWh" in text
    assert "Carbon dioxide comes closest to its limit" in text
    assert "Carbon dioxide exceeds its limit" in accounts["wet"][1]
    assert "heat loss 28 W/K; 0.15 air changes" in text


def test_thin_air_is_told_as_a_height(accounts):
    """From where people notice it, to a hundred metres; below that it is no news."""
    made, text = accounts["pass"]
    height = f"{round(made.like_sleeping_at_m, -2):.0f}"
    assert f"like sleeping at               {height} m\n" in text
    assert "like sleeping at" not in accounts["good"][1]


def test_a_plan_outside_its_validity_says_where_it_stops(accounts):
    """No vent: the flame dies near 14 % of dry air, and there the plan stops."""
    flat = " ".join(accounts["sealed"][1].split())
    assert "does not settle" in flat
    assert "14 % of dry air" in flat
    assert "from outdoor air" in flat
    assert "does not settle" not in accounts["lapwing"][1]


def test_damp_heat_alone_lowers_oxygen(accounts):
    """42 °C and saturated: oxygen is nearest its limit, and no vent mends that."""
    made, text = accounts["steam"]
    assert "Oxygen exceeds its limit" in text
    assert "none is enough without wind" in text
    assert any("no vent area is enough" in sentence for sentence in changes(made))


def test_breathers_in_a_bottle_are_followed_for_36_hours(accounts):
    """No burner, no vent, no leak: nothing settles, and the account says so."""
    assert "after 36 hours" in " ".join(accounts["bottle"][1].split())


def test_advice_fits_the_night(accounts):
    """The first advice weighs most, and none is given that does not apply."""
    advice = {name: changes(made) for name, (made, _) in accounts.items()}
    assert advice["lapwing"][0].startswith("Do not sleep with the heater lit")
    assert not any("heater lit" in sentence for sentence in advice["windows"])
    coldest = "Pack sleeping bags and clothes for -"
    assert any(coldest in sentence for sentence in advice["windows"]), (
        "as cold as it gets while they sleep, though a flame warms the morning"
    )
    assert any("Fit a vent" in sentence for sentence in advice["sealed"])
    assert any("larger cylinder" in sentence for sentence in advice["small cylinder"])
    assert any("Take propane:" in sentence for sentence in advice["butane"])
    assert any("more" in s and "Open" in s for s in advice["no heater"])
    assert any("wip" in sentence for sentence in advice["wet"])
    assert not any("Open" in sentence for sentence in advice["good"])


def test_the_first_lines_say_whose_cabin_it_is():
    """The example's, the example's but for what was given, or what it lent."""
    told = {
        "The example's cabin: the Lapwing, a trailer.": {},
        "The example's cabin, the Lapwing, with what you gave.": {"burner_kw": 0.8},
    }
    for words, given in told.items():
        assert (
            words
            == account(plan(cabin_plan(given)), ())
            .partition("Plan for the night\n")[2]
            .splitlines()[0]
            .strip()
        )
    van = {"volume_m3": 7.0, "burner_kw": 1.0, "fuel": "butane", "people": 1}
    lines = account(plan(cabin_plan(van)), ())
    (lent,) = re.findall(r"Not given, .*?\.", " ".join(lines.split()))
    assert "free area near the floor" in lent
    assert not any(word in lent for word in ("volume", "power", "sleepers", "gas,"))
    everything = {
        key: getattr(EXAMPLE, key) for key in EXAMPLE._fields if key in ACCEPTED
    }
    mine = {**everything, "volume_m3": 12.0, "glass_u": 2.8, "fuel": "propane"}
    assert "example" not in account(plan(cabin_plan(mine)), ())


def test_the_first_hours_are_told_where_they_are_worse(accounts):
    """Oxygen dips while a cold cabin warms; the picture shows it, so the text does."""
    made, text = accounts["lapwing"]
    assert made.nights[0].most_co2_ppm > 1.3 * made.air.co2_ppm[1]
    told = " ".join(text.split())
    assert f"oxygen then falls to {made.nights[0].least_o2_pct:.1f} %" in told
    assert "Until the cabin is warm" not in accounts["no heater"][1]


def test_two_times_of_burning_do_not_run_into_the_next_column(accounts):
    """22 letters and more, in a column of 16."""
    cabin = CabinPlan(burns=(BurnWindow(7.0, 10.0), BurnWindow(18.0, 20.0)))
    text = account(plan(cabin), ())
    assert "19:00-22:00, 06:00-08:00  all night" in text


def test_minutes_that_are_none_are_not_counted_down(accounts):
    """At the worst below 19.5 % before any vent shuts: no "0 minutes"."""
    made, _ = accounts["wet"]
    assert made.shut.minutes_to_o2[19.5][0] < 1.0
    said = " ".join(changes(made))
    assert "oxygen is below 19.5 % already" in said
    assert " 0 minutes" not in said


def test_figures_at_the_ends_of_their_ranges_are_planned_all_the_same():
    """A U-value of 10, a cubic metre that loses 1 000 W/K: no traceback, no nan."""
    random = Random(3)
    for _ in range(25):
        given = {
            key: random.choice((one.low, one.high))
            for key, one in ACCEPTED.items()
            if random.random() < 0.6
        }
        fit = int(given.get("volume_m3", EXAMPLE.volume_m3))
        given["people"] = min(given.get("people", 2), fit)
        given["fuel"] = random.choice(("propane", "butane", "isobutane"))
        made = plan(cabin_plan(given))
        text = account(made, changes(made))
        assert max(len(line) for line in text.splitlines()) <= 88
        assert not re.search(r"None|\bnan\b|\binf\b|-0 ", text), given


def test_nothing_to_change_is_said():
    """A summer hut with open windows: nothing, and why to keep it so."""
    hut = CabinPlan(
        volume_m3=40, burner_kw=0, people=1, vent_low_cm2=900, vent_high_cm2=900,
        outside_c=12.0, outside_rh_pct=40.0, leak_per_h=3.0, wall_w_k=None,
    )  # fmt: skip
    assert changes(plan(hut)) == (
        "Nothing to change: keep every vent clear, and the alarms within hearing.",
    )


def test_a_second_cylinder_is_asked_for():
    """Eight hours of gas for nine hours of night; a small one cools down before."""
    short = replace(CabinPlan(), cylinder_kg=0.9, outside_c=25.0, burner_kw=1.5)
    assert any("second cylinder" in sentence for sentence in changes(plan(short)))
    small = replace(short, cylinder_kg=0.4, outside_c=5.0)
    said = " ".join(changes(plan(small)))
    assert "second cylinder" not in said
    assert "Take a larger cylinder: outdoors this one cools down" in said


def test_a_flame_held_down_is_told_in_btu_an_hour() -> None:
    """4 kW are 13 648.6 BTU/h (1 055.056 J), in the heading, under gas and in 7."""
    cold = CabinPlan(cylinder_kg=1.0, burner_kw=4.0, outside_c=-20.0)
    for units, least, most in ((SI, "1.6", "4 kW"), (US, "5,400", "13,649 BTU/h")):
        made = plan(replace(cold, units=units))
        told = " ".join(account(made, changes(made)).split())
        sign = most.split()[1]
        assert f"outdoors supplies {least} of the heater's {most}; indoors" in told
        assert f"water are for {most}, warmth for {least}." in told
        assert f"in this cold it supplies {least} {sign} while it is full" in told
        assert f"That is less than the heater's {most}: outdoors" in told
        assert f"supplies {least} {sign} for long, not {most.split()[0]}." in told


def test_square_inches_that_are_asked_for_are_never_short() -> None:
    """To the tenth, rounded up; 1 in = 2.54 cm by definition."""
    for cm2 in range(5, 1000, 5):
        number, sign = asked(float(cm2), US).split()
        assert sign == "in²"
        assert cm2 <= float(number) * 2.54**2 + 1e-6 < cm2 + 0.1 * 2.54**2 + 1e-5
    assert areas(50.0, 0.0, US) == "7.8 in² near the floor"
    assert areas(50.0, 0.0, SI) == "50 cm² (8 square inches) near the floor"
