"""One cause is told once, whatever it takes along; of fellows the worse rules."""

from pathlib import Path

import pytest

from cabinvigil.daemon.rehearsal.emulated.scd4x import EmulatedScd4x
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.settings.config import Settings, load
from tests.faults.nights import FAULT_AT_S, HEAD, SUSPECT, play_fault, settings

TWO_ON_A_BUS = (
    'kind = "scd4x"\nbus = "main"\n'
    '[part.bunk-air]\nkind = "sht4x"\nbus = "main"\n'
    '[part.battery]\nkind = "ina226"\nbus = "main"\n'
)
WARM_S = 190.0
"""By then both are warm: one that is not does not count as a guard."""
TWO_CO = 'kind = "frame9_co"\nport = "/dev/serial/by-path/usb-0"\n'


def cabin(folder: Path, suspect: str) -> Settings:
    path = folder / "cabin.toml"
    path.write_text(HEAD + suspect, encoding="utf-8")
    return load(path)


def test_a_stuck_bus_is_told_once_for_all_that_hang_on_it(tmp_path: Path) -> None:
    """Three parts, six quantities, one sentence on the phone, and one more at no end.

    The bus's own fault tells why they are silent; what comes back last is not told as
    silent in between (sensors sheet, 14, row 4: 'once, not one per part').
    """
    night = play_fault(cabin(tmp_path, TWO_ON_A_BUS), "hold", 40.0)
    told = [one.alarm for _, one in night.alerts("sensor-", "watch-")]
    assert told == ["watch-fault/main"]
    assert night.stands("sensor-", "watch-") == []


def test_a_part_with_three_quantities_is_told_once(tmp_path: Path) -> None:
    """It vanishes and comes back, warms up, and is told no second time."""
    night = play_fault(settings("scd4x", tmp_path), "vanish", 60.0)
    told = [one.alarm for _, one in night.alerts("sensor-")]
    assert told == [f"sensor-fault/{SUSPECT}"]


def test_a_part_that_lost_its_mode_once_is_set_up_again_in_silence(
    tmp_path: Path,
) -> None:
    """A brown-out is no fault of the part; three an hour are (row 14)."""
    night = play_fault(settings("scd4x", tmp_path), "reset", 60.0)
    assert night.alerts("sensor-") == []
    often = [
        Failure(60.0 + 40.0 * n, 80.0 + 40.0 * n, SUSPECT, "reset") for n in range(5)
    ]
    night = play_fault(
        settings("bme280", tmp_path), "reset", 220.0, part="nobody", more=often
    )
    (_, told), *_ = night.alerts("sensor-fault")
    assert told.text == "Sensor suspect keeps failing. Check its cable and power."


def test_the_only_oxygen_part_lost_wakes_the_sleeper(tmp_path: Path) -> None:
    """Its fault stands, and beside it that nothing watches the oxygen (design, 7).

    The phone is told the one that says what to do.
    """
    night = play_fault(settings("o2_optical_line", tmp_path), "stall", 20.0)
    stood = [(one.alarm, one.priority.word) for _, one in night.raised("sensor-")]
    assert (f"sensor-fault/{SUSPECT}", "fault") in stood
    assert ("sensor-stale/o2_pct", "medium") in stood
    told = [one.alarm for _, one in night.alerts("sensor-")]
    assert told == ["sensor-stale/o2_pct"]
    assert ("three-pulse") in [pattern for _, pattern in night.sounds()]


@pytest.mark.parametrize("fault", ["stall", "unplug", "flip"])
def test_one_dead_of_two_is_said_and_does_not_stop_the_watch(
    tmp_path: Path, fault: str
) -> None:
    """The other still guards: a fault, and no more; the gas rings by the other."""
    night = play_fault(cabin(tmp_path, TWO_CO), fault, 20.0, fault_at_s=WARM_S)
    stood = {one.priority.word for _, one in night.raised("sensor-")}
    assert stood == {"fault"}
    assert night.raised("co-level")


def test_the_worse_of_two_rules_and_their_disagreement_is_a_fault(
    tmp_path: Path,
) -> None:
    """One CO part stands still at nothing while the other sees 300 ppm."""
    # 190 s: until both are warm, since one that is not contradicts nobody.
    night = play_fault(cabin(tmp_path, TWO_CO), "stick", 190.0, gas_s=200.0)
    (rang_s, first), *_ = night.raised("co-level")
    assert rang_s - night.gas_at_s <= 10.0
    assert first.evidence["part"] == "guard"
    (told_s, told), *_ = night.raised("sensors-disagree/co_ppm")
    assert 120.0 <= told_s - night.gas_at_s <= 150.0
    assert "Sensors suspect and guard disagree on carbon monoxide" in told.text


def test_a_part_that_goes_on_calibrating_itself_is_told_as_that(tmp_path: Path) -> None:
    """It would drag its baseline low in a cabin that is slept in (row 26).

    Its memory does not take the setting: it reads back as on, whatever is written.
    """

    def deaf(self: EmulatedScd4x, word: int = 0) -> None:
        del self, word

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(EmulatedScd4x, "_set_self_calibration", deaf)
        night = play_fault(settings("scd4x", tmp_path), "reset", 20.0, part="nobody")
    (told_s, told), *_ = night.alerts("sensor-fault")
    assert told_s <= FAULT_AT_S
    assert told.text == (
        "Sensor suspect keeps resetting its own zero and will show too little. "
        "Switch its power off and on."
    )
