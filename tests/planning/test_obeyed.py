"""Whatever the plan asks of the vents is done as printed, and it asks for no more.

Any cabin: every gas and mix, both winds, from the sea to 3 000 m, any split of any
area, nobody to four berths.  What is obeyed is read from the sentences, as a person
does.
"""

import re
from dataclasses import replace
from random import Random

import pytest

from cabinvigil.daemon.commands import plan as command
from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.figures import BurnWindow, CabinPlan
from cabinvigil.daemon.planning.openings import (
    CM2_PER_IN2,
    CO2_LIMIT_PPM,
    O2_LIMIT_PCT,
    is_good,
)
from cabinvigil.daemon.planning.plan import Plan, plan
from cabinvigil.daemon.planning.scenario import scenarios
from cabinvigil.daemon.planning.settle import settled
from cabinvigil.daemon.text.units_said import US
from tests.commands import calling

FUELS = (
    {"propane": 1.0},
    {"butane": 1.0},
    {"isobutane": 1.0},
    {"propane": 0.3, "butane": 0.7},
    {"propane": 0.2, "butane": 0.4, "isobutane": 0.4},
)
HALVES = ((), (BurnWindow(8.0, 10.0), BurnWindow(18.0, 19.0)))
COUNT = 40


def any_cabin(random: Random) -> CabinPlan:
    """One cabin, as odd as they come."""
    total, share = random.uniform(0.0, 700.0), random.random()
    low = random.choice((0.0, total, share * total, share * total))
    volume = random.uniform(4.0, 45.0)
    return CabinPlan(
        volume_m3=volume,
        people=random.choice((0.0, 1.0, 2.0, 2.5, 3.0, 4.0)),
        burner_kw=random.choice((0.0, random.uniform(0.2, 4.0))),
        burner_height_m=random.choice((None, 0.2, 1.4)),
        vent_low_cm2=low,
        vent_high_cm2=total - low,
        vent_height_m=random.uniform(0.3, 2.2),
        wind_mps=random.choice((0.0, random.uniform(0.0, 6.0))),
        outside_c=random.uniform(-25.0, 15.0),
        outside_rh_pct=random.uniform(40.0, 100.0),
        altitude_m=random.uniform(0.0, 3000.0),
        glass_u=random.choice((1.2, 2.8, 5.8)),
        cylinder_kg=random.choice((0.465, 2.0, 5.0, 11.0)),
        leak_per_h=random.choice((None, 0.0, 0.15, 0.8)),
        wall_w_k=random.choice((None, 4.0 * volume)),
        fuel=random.choice(FUELS),
        burns=random.choice(HALVES),
    )


def obeyed(cabin: CabinPlan, said: str) -> CabinPlan:
    """Do what the sentences say, to the figure."""
    low, high = cabin.vent_low_cm2, cabin.vent_high_cm2
    for cm2, to in re.findall(r"Move ([\d.]+) cm² .*? to near the (floor|roof)", said):
        moved = float(cm2) if to == "roof" else -float(cm2)
        low, high = low - moved, high + moved
    asks = re.findall(
        r"(?:Open more vent|Windows will run with water): (?:[^.:;]|\.\d)*", said
    )
    for ask in asks:
        for cm2, at in re.findall(r"([\d.]+) cm² \([^)]*\) near the (floor|roof)", ask):
            low, high = (
                (low + float(cm2), high) if at == "floor" else (low, high + float(cm2))
            )
    return replace(cabin, vent_low_cm2=low, vent_high_cm2=high)


def obeyed_in_inches(cabin: CabinPlan, said: str) -> CabinPlan:
    """Do what they say in square inches, to the tenth; 1 in = 2.54 cm by definition."""

    def in_cm2(found: re.Match[str]) -> str:
        return f"{float(found[1]) * 2.54**2:.6f} cm² ()"

    turned = re.sub(r"(\d+\.\d) in²", in_cm2, said)
    assert "cm²" in turned or not of_area(turned)
    low, high = cabin.vent_low_cm2, cabin.vent_high_cm2
    for cm2, to in re.findall(
        r"Move ([\d.]+) cm² .*? to near the (floor|roof)", turned
    ):
        moved = float(cm2) if to == "roof" else -float(cm2)
        low, high = max(0.0, low - moved), max(0.0, high + moved)
    for asked in re.findall(
        r"(?:Open more vent|Windows will run with water): [^:;]*", turned
    ):
        for cm2, at in re.findall(r"([\d.]+) cm² \(\) near the (floor|roof)", asked):
            low += float(cm2) * (at == "floor")
            high += float(cm2) * (at == "roof")
    return replace(cabin, vent_low_cm2=low, vent_high_cm2=high)


def in_inches(said: str) -> str:
    """The same sentences with the area that their square inches are."""
    return re.sub(
        r"\d+ cm² \((\d+) (square inch(?:es)?)\)",
        lambda found: f"{int(found[1]) * CM2_PER_IN2} cm² ({found[1]} {found[2]})",
        said,
    )


def of_area(said: str) -> list[str]:
    """What is said of the vents' area."""
    return re.findall(
        r"Open more vent|Move [\d.]+ \w+²|Windows will run with water: another", said
    )


def holds_limits(made: Plan, which: int) -> bool:
    """Ask the printed figures: 1 the middle ones, 2 the worst."""
    o2 = made.air.o2_pct[1 if which == 1 else 0]
    co2 = made.air.co2_ppm[which]
    assert o2 is not None
    return o2 >= O2_LIMIT_PCT and co2 is not None and co2 <= CO2_LIMIT_PPM


def test_obeyed_the_plan_asks_for_no_more_area() -> None:
    """All 40, and each kind of advice was met; enough is so at the worst figure."""
    random, met = Random(2026), set()
    for _ in range(COUNT):
        cabin = any_cabin(random)
        said = " ".join(changes(plan(cabin)))
        met |= {word.split()[0] for word in of_area(said)}
        after = plan(obeyed(cabin, said))
        now = " ".join(changes(after))
        assert of_area(now) == [], cabin
        if "no vent area is enough" in said:
            met.add("hopeless")
            continue
        assert after.vents.is_good, cabin
        calm = plan(replace(after.cabin, wind_mps=0.0))
        assert holds_limits(after, 1), cabin
        assert holds_limits(calm, 1), cabin
        met.add("weakened" if after.flame.is_limited else "fed")
        if after.vents.is_enough:
            met.add("enough")
            assert holds_limits(after, 2), cabin
            assert holds_limits(calm, 2), cabin
    assert met >= {"Open", "Move", "Windows", "weakened", "fed", "enough"}


def test_obeyed_in_square_inches_it_is_enough_too() -> None:
    """What is asked for is rounded up: the nearest whole inch would fall short."""
    random, met = Random(2027), set()
    for _ in range(COUNT // 2):
        cabin = replace(any_cabin(random), units=US)
        said = " ".join(changes(plan(cabin)))
        assert "cm²" not in said
        met |= {word.split()[0] for word in of_area(said)}
        after = plan(obeyed_in_inches(cabin, said))
        assert of_area(" ".join(changes(after))) == [], cabin
        assert after.vents.is_good or "no vent area is enough" in said, cabin
    assert met >= {"Open", "Move", "Windows"}


def test_obeyed_in_square_inches_it_asks_for_no_more_either() -> None:
    """Rounded to the nearest, one in nine that asked was asked again."""
    random, asked = Random(7), 0
    for _ in range(COUNT):
        cabin = any_cabin(random)
        said = " ".join(changes(plan(cabin)))
        if not of_area(said):
            continue
        asked += 1
        after = plan(obeyed(cabin, in_inches(said)))
        assert of_area(" ".join(changes(after))) == [], cabin
    assert asked > COUNT // 3


def test_the_pane_is_told_for_the_vents_that_are_asked_for() -> None:
    """Once the air's vents are made, the same is asked for the pane as before."""
    random, both = Random(5), 0
    for _ in range(COUNT // 2):
        cabin = any_cabin(random)
        made = plan(cabin)
        low, high = made.vents.obeyed(cabin.vent_low_cm2, cabin.vent_high_cm2)
        after = plan(replace(cabin, vent_low_cm2=low, vent_high_cm2=high))
        assert after.drying == made.drying, cabin
        asks = made.drying.add_low_cm2 + made.drying.add_high_cm2 > 0.0
        both += asks and not made.vents.is_good
    assert both > 0


def test_the_need_that_is_told_is_enough_as_told() -> None:
    """Equal openings of the middle need are good, of the upper need at the worst.

    In still air, for which it is told; N2: the upper need was 8 876 ppm in the wind,
    and then `enough` is not said.
    """
    random, tried = Random(7), 0
    for _ in range(COUNT // 2):
        cabin = replace(any_cabin(random), wind_mps=0.0)
        _, middle, upper = plan(cabin).vent.needed_cm2
        for need, worst in ((middle, False), (upper, True)):
            if not need or need > 2000.0:
                continue
            half = need / 2.0
            ways = scenarios(replace(cabin, vent_low_cm2=half, vent_high_cm2=half))
            for way in ways if worst else ways[:1]:
                found = settled(way)
                assert not found.stops, cabin
                assert is_good(found.state), cabin
            tried += 1
    assert tried > COUNT // 2


OPTIONS = (
    *("volume_m3", "burner_kw", "people", "vent_low_cm2", "vent_high_cm2"),
    *("outside_c", "outside_rh_pct", "wind_mps", "altitude_m", "glass_u"),
    *("cylinder_kg",),
)


@pytest.mark.parametrize("seed", range(5))
def test_it_is_true_of_what_the_command_prints(seed: int, tmp_path) -> None:
    """Called, read, done, and called again, the gas from a bare [cabin]."""
    cabin = any_cabin(Random(100 + seed))
    shares = ", ".join(f"{name} = {share}" for name, share in cabin.fuel.items())
    file = tmp_path / "cabin.toml"
    file.write_text(f"[cabin]\nfuel = {{ {shares} }}\n", encoding="utf-8")

    def said_of(each: CabinPlan) -> str:
        words = [f"--{key.replace('_', '-')}={getattr(each, key)!r}" for key in OPTIONS]
        code, out, err = calling.call(command, "--config", file, "--all", *words)
        assert (code, err) == (0, "")
        return " ".join(out[out.index("\n7. ") :].split())

    said = said_of(cabin)
    assert of_area(said_of(obeyed(cabin, said))) == []
