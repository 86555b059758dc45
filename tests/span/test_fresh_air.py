"""Fresh and steady air, or not: what the parts say of it, and a person's yes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.span.fresh_air import (
    CO_MOST_PPM,
    YES,
    AirFound,
    Given,
    Saw,
    air_of,
    is_fresh,
    is_yes,
    look_at,
)

AIR = AirFound(15.0, 75.0, 939.0)
CELL = frozenset({"bunk-cell"})


def gave(**quantities: object) -> dict[str, list[Given]]:
    """Readings by quantity: a number is steady, a pair runs from one to the other."""
    found = {}
    for quantity, value in quantities.items():
        low, high = value if isinstance(value, tuple) else (value, value)
        values = [low + (high - low) * n / 29.0 for n in range(30)]
        found[quantity] = [Given(f"the-{quantity}", values)]
    return found


def bad(saw: list[Saw]) -> list[str]:
    return [one.text for one in saw if one.is_good is False]


def test_oxygen_in_fresh_air_is_less_by_its_vapour() -> None:
    """Saturated air of 25 °C at 1013.25 hPa: 20.95 % dry is 20.3 % (design, 5).

    31.7 hPa of vapour: `psat_ashrae` of the check values.
    """
    assert AirFound(25.0, 100.0, 1013.25).o2_pct == pytest.approx(20.295, abs=0.01)
    assert AirFound(25.0, 0.0, 1013.25).o2_pct == pytest.approx(20.95)
    assert AirFound(25.0, 130.0, 1013.25).o2_pct == pytest.approx(20.295, abs=0.01)


def test_where_the_vapour_is_not_known_oxygen_is_as_usually_said() -> None:
    """20.9 %: the cells' own data sheets (sensors sheet, 7a)."""
    assert AirFound(None, 50.0, 1013.25).o2_pct == 20.9
    assert AirFound(15.0, 50.0, None).o2_pct == 20.9


def test_the_air_is_the_parts_mean_and_the_height_stands_in_for_a_barometer() -> None:
    """939 hPa at 640 m (ISO 2533)."""
    air = air_of(gave(temp_c=(10.0, 12.0), rh_pct=60.0), 938.8)
    assert (air.temp_c, air.rh_pct, air.pressure_hpa) == (
        pytest.approx(11.0),
        60.0,
        938.8,
    )
    assert air_of(gave(pressure_hpa=950.0), 938.8).pressure_hpa == 950.0


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        ({"co2_ppm": 440.0}, ""),
        ({"co2_ppm": 576.0}, ""),
        ({"co2_ppm": 577.0}, "carbon dioxide 577 ppm (fresh: at most 576)"),
        ({"co2_ppm": (430.0, 550.0)}, "moved 82.8 (steady: at most 60)"),
        ({"co_ppm": 9.0}, ""),
        ({"co_ppm": 11.0}, "carbon monoxide 11.0 ppm"),
        ({"co_ppm": -11.0}, "carbon monoxide -11.0 ppm"),
        ({"gas_lel_pct": 3.0}, "unburnt gas"),
        ({"temp_c": (10.0, 13.0)}, "temperature 11.5 °C, moved 2.1"),
        ({"pressure_hpa": (939.0, 941.0)}, "air pressure"),
        ({"o2_pct": 20.0}, ""),
        ({"o2_pct": 19.8}, "oxygen 19.80 % (fresh: 20.66, within 0.8)"),
        ({"o2_pct": 21.5}, "oxygen 21.50 %"),
    ],
)
def test_what_speaks_against_fresh_and_steady_air(
    readings: dict[str, object], why: str
) -> None:
    """Each with its own limit, told with what was seen.

    576 ppm: 425 outdoors, 50 ppm and 5 % of the part's class, 80 for the people.
    """
    saw = look_at(gave(**readings), CELL, AIR, None)
    assert is_fresh(saw) is (why == "")
    assert len(bad(saw)) == bool(why)
    assert why in "".join(bad(saw))


def test_without_a_carbon_dioxide_sensor_it_is_the_persons_word() -> None:
    """Not known is said, and does not refuse."""
    saw = look_at(gave(co_ppm=0.0), CELL, AIR, None)
    assert [one.text for one in saw if one.is_good is None] == [
        "nothing measures carbon dioxide: make sure yourself that the air is fresh"
    ]
    assert is_fresh(saw)


def test_a_baseline_that_is_to_be_moved_may_read_wrong_but_vouches_for_nothing() -> (
    None
):
    """Alone it may be off by some hundred ppm; beside an oxygen cell it may not."""
    off = gave(co2_ppm=900.0)
    alone = frozenset({"the-co2_ppm"})
    assert is_fresh(look_at(off, alone, AIR, None))
    assert not is_fresh(look_at(off, alone | CELL, AIR, None))
    assert not is_fresh(look_at(gave(co2_ppm=1100.0), alone, AIR, None))
    assert not is_fresh(look_at(gave(co2_ppm=4000.0), alone, AIR, None))


def test_oxygen_that_is_set_by_this_air_does_not_vouch_for_it() -> None:
    """A cell that reads 18 % is why it is spanned."""
    spanning = frozenset({"the-o2_pct"})
    assert is_fresh(look_at(gave(o2_pct=18.0), spanning, AIR, None))


def test_a_valley_with_more_carbon_dioxide_has_its_own_limit() -> None:
    """As the config says."""
    assert is_fresh(look_at(gave(co2_ppm=650.0), CELL, AIR, 520.0))


@pytest.mark.parametrize(
    "text",
    [YES, YES.upper(), "  Outside air , doors open,burner off. ", YES.replace(",", "")],
)
def test_a_yes_is_the_sentence_however_it_is_spaced(text: str) -> None:
    """Three things that no sensor can vouch for, in words."""
    assert is_yes(text)


@given(st.text(max_size=60))
def test_nothing_else_is_a_yes(text: str) -> None:
    """Not 'y', not a line's end, not half of it."""
    words = "".join(c if c.isalnum() else " " for c in text.casefold()).split()
    assert is_yes(text) is (
        words == ["outside", "air", "doors", "open", "burner", "off"]
    )


def test_a_pass_is_no_pass_for_one_ppm_more() -> None:
    """The bound itself counts as a moved zero."""
    assert is_fresh(look_at(gave(co_ppm=CO_MOST_PPM), CELL, AIR, None))
