"""The small fault rules: jump, out of range, warming, service, source, watch."""

from dataclasses import replace
from types import ModuleType

import pytest

from cabinvigil.daemon.core.model import Priority, SourceFault, SourceOk
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.rules import (
    jump,
    out_of_range,
    service,
    source,
    warming,
    watch,
)
from tests.core.scenario import Night, cabin, series
from tests.rules.asked import asked, says

FAULT = Priority.FAULT


def test_a_leap_is_a_fault_until_the_next_value() -> None:
    """Told with the value that was not believed and the one that is."""
    night = Night(cabin(keys=[series("o2_pct", jump_per_s=0.1)]))
    params = jump.Params("o2_pct")
    assert says(jump, params, night) is None
    night.play("20.9 12.0")
    verdict = asked(jump, params, night)
    assert verdict is not None
    assert verdict.priority is FAULT
    assert verdict.facts == {
        "part": "the-o2_pct",
        "value": 12.0,
        "other": 20.9,
        "unit": "%",
    }
    assert verdict.evidence["count"] == 1
    assert says(out_of_range, out_of_range.Params("o2_pct"), night) is None
    night.play("20.9")
    assert says(jump, params, night) is None


def test_a_value_that_no_air_has_is_a_fault_until_a_good_one_comes() -> None:
    """58 % oxygen; silence after it does not end the fault."""
    night = Night(cabin())
    params = out_of_range.Params("o2_pct")
    assert says(out_of_range, params, night) is None
    night.play("20.9 58 _ _ _ _")
    verdict = asked(out_of_range, params, night)
    assert verdict is not None
    assert verdict.priority is FAULT
    assert verdict.facts == {
        "part": "the-o2_pct",
        "value": 58.0,
        "unit": "%",
        "text": "oxygen",
    }
    night.play("_ _")
    verdict = asked(out_of_range, params, night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (Priority.MEDIUM, "alone")
    assert says(jump, jump.Params("o2_pct"), night) is None
    night.play("20.9")
    assert says(out_of_range, params, night) is None


def test_doubt_long_after_the_start_is_a_fault() -> None:
    """Twice the warm-up is allowed; then the part is told, once for all it gives.

    It begins anew with each doubtful value after a good one, or after silence.
    """
    keys = [
        replace(series("co2_ppm", warm_up_s=60.0), part="air", title="air"),
        replace(series("temp_c", warm_up_s=5.0), part="air", title="air"),
    ]
    night = Night(cabin(keys=[*keys, "o2_pct"]))
    params = warming.Params("air")
    values = {"co2_ppm": 800.0, "temp_c": 18.0}
    assert asked(warming, params, night) is None
    night.air({"o2_pct": 20.9}, 0.0, doubtful=["o2_pct"])
    assert asked(warming, params, night) is None
    night.air(values, 0.0, doubtful=["co2_ppm"])
    for _ in range(6):
        night.air(values, 20.0, doubtful=["co2_ppm"])
        assert says(warming, params, night) is None
    night.air(values, 1.0, doubtful=["co2_ppm"])
    verdict = asked(warming, params, night)
    assert verdict is not None
    assert verdict.priority is FAULT
    assert verdict.facts == {"part": "air", "value": 800.0, "seconds": 121.0}
    assert verdict.evidence == {"series": ["co2_ppm"], "doubtful_s": 121.0}
    night.air(values, 1.0)
    assert says(warming, params, night) is None
    for silent_s in (10.0, 100.0):
        night.air(values, silent_s, doubtful=["co2_ppm"])
        assert says(warming, params, night) is None


def test_the_last_part_in_doubt_over_a_vital_gas_wakes_people() -> None:
    """After ten minutes, or its warm-up; where another gives the same, nobody."""
    for others, weight in (([], Priority.MEDIUM), (["o2_pct_ceiling"], FAULT)):
        spec = replace(series("o2_pct", warm_up_s=250.0), part="cell", title="cell")
        night = Night(cabin(keys=[spec, *others]))
        params = warming.Params("cell")
        values = {"o2_pct": 20.9, "o2_pct_ceiling": 20.9}
        for _ in range(61):
            night.air(values, 10.0, doubtful=["o2_pct"])
        assert says(warming, params, night) is not Priority.MEDIUM
        night.air(values, 10.0, doubtful=["o2_pct"])
        verdict = asked(warming, params, night)
        assert verdict is not None
        assert verdict.priority is weight
        assert verdict.wording == ("alone" if weight is Priority.MEDIUM else "")


def test_another_kind_of_fault_is_told_anew_once_each() -> None:
    """Its second cause has another remedy; what has been told in a stand is not."""
    params = source.Params("the-o2_pct")
    spec = AlarmSpec("sensor-fault", "source", params, source.judge, ack_s=28800.0)
    night = Night(cabin(spec))
    night.air({"o2_pct": 20.9})
    for kind in ("absent", "checksum", "absent", "checksum", "cell-dead"):
        night.take(SourceFault("the-o2_pct", kind, f"it is {kind}"), 10.0)
        night.act("ack")
    rung = [one for one in night.transitions() if one.state.value == "unacknowledged"]
    assert [one.evidence["kind"] for one in rung] == ["absent", "checksum", "cell-dead"]
    assert [one.text.split()[2] for one in rung] == ["absent", "checksum", "cell-dead"]


@pytest.mark.parametrize(
    ("doubtful", "wording"),
    [
        (["o2_pct"], "pressure"),
        (["o2_pct", "o2_hpa"], ""),
        (["o2_hpa"], ""),
    ],
)
def test_a_cell_that_lacks_the_air_pressure_is_not_told_as_cold(
    doubtful: list[str], wording: str
) -> None:
    """Its partial pressure is good, and only what pressure makes of it is not."""
    keys = [replace(series(key), part="cell") for key in ("o2_pct", "o2_hpa")]
    night = Night(cabin(keys=keys))
    for _ in range(2):
        night.air({"o2_pct": 20.9, "o2_hpa": 212.0}, 20.0, doubtful=doubtful)
    verdict = asked(warming, warming.Params("cell"), night)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (FAULT, wording)


def test_without_a_partial_pressure_no_reason_is_known() -> None:
    """A part that gives percent alone may be cold, wet or new."""
    night = Night(cabin(keys=[replace(series("o2_pct"), part="cell")]))
    night.air({"o2_pct": 20.9}, 60.0, doubtful=["o2_pct"])
    verdict = asked(warming, warming.Params("cell"), night)
    assert verdict is not None
    assert verdict.wording == ""


def test_patience_of_nothing_is_refused() -> None:
    """A part that warms up would be a fault at every start."""
    with pytest.raises(ValueError, match="factor is 0"):
        warming.Params(factor=0.0)


def test_a_part_past_its_life_is_told_when_the_night_reaches_it() -> None:
    """Ten seconds of service left at the start; unknown lives are not told."""
    facts = {
        "cell": {"title": "bunk cell", "service_left_s": 10.0},
        "new": {"service_left_s": -5.0},
        "chip": {"title": "chip"},
    }
    night = Night(cabin(part_facts=facts))
    night.air({}, 9.0)
    assert says(service, service.Params("cell"), night) is None
    assert says(service, service.Params("new"), night) is FAULT
    night.air({}, 1.0)
    verdict = asked(service, service.Params("cell"), night)
    assert verdict is not None
    assert (verdict.priority, verdict.facts) == (FAULT, {"part": "bunk cell"})
    for unknown in ("chip", "nobody"):
        assert asked(service, service.Params(unknown), night) is None
    assert asked(service, service.Params("new"), night) != verdict


@pytest.mark.parametrize(("rule", "word"), [(source, "part"), (watch, "source")])
def test_a_source_is_at_fault_while_it_says_so(rule: ModuleType, word: str) -> None:
    """In its own words, by its own kind; another source's end does not end it."""
    night = Night(cabin())
    params = rule.Params("cell")
    assert says(rule, params, night) is None
    night.take(SourceFault("cell", "absent", "the cell does not answer"))
    night.take(SourceOk("other"))
    verdict = asked(rule, params, night)
    assert verdict is not None
    assert verdict.priority is FAULT
    assert verdict.facts == {word: "cell", "text": "the cell does not answer"}
    assert (verdict.wording, verdict.evidence["kind"]) == ("absent", "absent")
    assert verdict.topic == "absent"
    night.take(SourceOk("cell"))
    assert says(rule, params, night) is None
    assert night.state.history.sources == {}


def test_a_part_that_was_at_fault_is_not_well_for_saying_nothing() -> None:
    """After a restart None, until one of its own series speaks."""
    night = Night(cabin(keys=["o2_pct", "co_ppm"]))
    params = source.Params("the-o2_pct")
    night.air({"co_ppm": 0.0})
    assert asked(source, params, night) is None
    night.air({"o2_pct": 20.9})
    assert says(source, params, night) is None


def test_service_is_counted_from_the_start_of_the_watch() -> None:
    """The clock of the core may begin anywhere."""
    facts = {"cell": {"service_left_s": 10.0}}
    night = Night(cabin(part_facts=facts), now=1000.0)
    night.air({}, 9.0)
    assert says(service, service.Params("cell"), night) is None
    night.air({}, 1.0)
    assert says(service, service.Params("cell"), night) is FAULT
