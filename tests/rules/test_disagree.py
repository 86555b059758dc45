"""Two parts at one place that should say the same."""

import attrs
import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.rules import disagree
from cabinvigil.daemon.rules.disagree import Params
from cabinvigil.drivers import part
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked, says

FAULT = Priority.FAULT


def pair(
    channel: str, low: float, high: float, marks: str = "", elsewhere: float = 0.0
) -> Night:
    one, two = f"{channel}__one", f"{channel}__two"
    night = Night(cabin(keys=[one, two, f"{channel}_ceiling"]))
    night.air(
        {one: high, two: low, f"{channel}_ceiling": elsewhere or low},
        doubtful=[one] if "?" in marks else [],
        at_least=[one] if "+" in marks else [],
    )
    return night


@pytest.mark.parametrize(
    ("channel", "low", "allowed"),
    [
        ("o2_pct", 20.0, 0.8),
        ("co_ppm", 100.0, 45.0),
        ("co2_ppm", 2000.0, 450.0),
        ("temp_c", 18.0, 2.0),
        ("rh_pct", 50.0, 8.0),
        ("pressure_hpa", 930.0, 4.0),
        ("supply_v", 12.0, 0.3),
    ],
)
def test_beyond_both_accuracies_one_of_them_lies(
    channel: str, low: float, allowed: float
) -> None:
    """Two parts' accuracies added (sensors sheet); held down to seven tenths."""
    params = Params(channel)
    assert says(disagree, params, pair(channel, low, low + 1.01 * allowed)) is FAULT
    inside = asked(disagree, params, pair(channel, low, low + 0.99 * allowed))
    assert inside is not None
    assert (inside.priority, inside.hold) == (None, FAULT)
    close = asked(disagree, params, pair(channel, low, low + 0.69 * allowed))
    assert close is not None
    assert close.hold is None


def test_both_are_named() -> None:
    """Lower and higher, by how much, of what."""
    verdict = asked(disagree, Params("o2_pct"), pair("o2_pct", 19.0, 20.9))
    assert verdict is not None
    assert verdict.facts == {
        "part": "two",
        "other": "one",
        "apart": pytest.approx(1.9),
        "unit": "%",
        "text": "oxygen",
    }
    assert verdict.evidence["low"] == ["o2_pct__two", 19.0]


def test_two_hygrometers_are_compared_in_vapour_not_in_percent() -> None:
    """Four kelvin warmer, 80 % reads as 62: the same air.

    15 °C: 17.05 hPa at saturation, 19 °C: 21.98 (check values, `psat_ashrae`).
    """
    keys = [f"{quantity}__{part}" for quantity in ("rh_pct", "temp_c") for part in "ab"]
    night = Night(cabin(keys=keys))
    own = {"temp_c__a": 15.0, "temp_c__b": 19.0}
    same = 80.0 * 17.05 / 21.98
    night.air({"rh_pct__a": 80.0, "rh_pct__b": same} | own)
    verdict = asked(disagree, Params("rh_pct"), night)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, None)
    night.air({"rh_pct__a": 80.0, "rh_pct__b": 79.0} | own)
    assert says(disagree, Params("rh_pct"), night) is FAULT
    night.air({"rh_pct__a": 80.0, "rh_pct__b": same} | own, doubtful=["temp_c__b"])
    assert says(disagree, Params("rh_pct"), night) is FAULT


@pytest.mark.parametrize("marks", ["?", "+"])
def test_doubt_and_bounds_contradict_nobody(marks: str) -> None:
    """A part that warms up, or is at full scale, is not compared."""
    assert asked(disagree, Params("co_ppm"), pair("co_ppm", 0.0, 900.0, marks)) is None


def test_one_alone_contradicts_nobody() -> None:
    """The other is silent, or sits at another place."""
    night = pair("o2_pct", 19.0, 20.9, elsewhere=15.0)
    night.air({"o2_pct__two": 19.0, "o2_pct_ceiling": 15.0}, 31.0)
    assert asked(disagree, Params("o2_pct"), night) is None


@pytest.mark.parametrize("subject", ["voc_index", "nonsense"])
def test_what_has_no_bound_cannot_be_told(subject: str) -> None:
    """An index differs from part to part by nature."""
    assert asked(disagree, Params(subject), pair("voc_index", 1.0, 400.0)) is None


def test_a_wider_factor_lets_more_pass() -> None:
    """What rings by the packaged factor is let pass by three times it."""
    wide = attrs.evolve(Params("o2_pct"), factor=3.0)
    assert says(disagree, wide, pair("o2_pct", 19.0, 20.9)) is None


def test_a_factor_of_nothing_is_refused() -> None:
    """Noise would ring all night."""
    with pytest.raises(ValueError, match="factor is 0"):
        Params(factor=0.0)


@pytest.mark.parametrize(
    ("kinds", "channel", "low", "allowed"),
    [
        # As each sheet has it (sensor notes, 3, 7a, 11 and 12), added.
        (("bme280", "o2_optical_line"), "pressure_hpa", 913.0, 7.0),
        (("bme280", "bme280"), "pressure_hpa", 913.0, 4.0),
        (("o2_optical_line", "o2_optical_line"), "pressure_hpa", 740.0, 10.0),
        (("o2_optical_line", "o2_cell_ads1115"), "o2_pct", 20.0, 1.1),
        (("frame9_o2", "o2_key_register"), "o2_pct", 20.0, 1.0),
        (("frame9_co", "frame9_co"), "co_ppm", 0.0, 20.0),
        (("frame9_co", "co_cell_ads1115"), "co_ppm", 100.0, 45.0),
        (("scd4x", "scd4x"), "rh_pct", 50.0, 12.0),
        (("bme280", "sht4x"), "rh_pct", 50.0, 8.0),
    ],
)
def test_two_parts_within_their_classes_do_not_ring(
    kinds: tuple[str, str], channel: str, low: float, allowed: float
) -> None:
    """The registry's classes of the two at hand, where they are more than the least."""
    night = two_of(kinds, channel, 1013.25)
    for one, other, priority in ((0, 1, None), (1, 0, None), (1, 0, FAULT)):
        off = allowed * (1.01 if priority else 0.99)
        values = {one: low, other: low + off}
        night.air({f"{channel}__{n}": value for n, value in values.items()})
        assert says(disagree, Params(channel), night) is priority


def test_the_same_oxygen_pressure_is_more_of_thin_air() -> None:
    """6 and 5 hPa are 1.1 % at the sea, and 1.51 % at 740 hPa."""
    night = two_of(("o2_optical_line", "o2_cell_ads1115"), "o2_pct", 740.0)
    for apart, priority in ((1.49, None), (1.52, FAULT)):
        night.air({"o2_pct__0": 20.0, "o2_pct__1": 20.0 + apart})
        assert says(disagree, Params("o2_pct"), night) is priority


def two_of(kinds: tuple[str, str], channel: str, at_hpa: float) -> Night:
    """Two parts of the registry, at this air pressure."""
    keys = [
        series(f"{channel}__{n}", accuracy=part(kind).gives[channel].accuracy)
        for n, kind in enumerate(kinds)
    ]
    at = [] if channel == "pressure_hpa" else ["pressure_hpa"]
    night = Night(cabin(keys=[*keys, *at]))
    night.air({"pressure_hpa": at_hpa} if at else {})
    return night
