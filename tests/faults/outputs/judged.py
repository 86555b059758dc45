"""What is owed of every way out when one of them, or the machine, fails."""

from dataclasses import dataclass
from pathlib import Path

from cabinvigil.daemon.core.model import Sound, Transition
from cabinvigil.daemon.log.folder import night_of
from cabinvigil.daemon.outputs.state_file import StateFile
from tests.faults.outcome import Outcome, seconds
from tests.faults.outputs.cabin import Cabin
from tests.faults.outputs.rows import (
    CLEAR_S,
    END_S,
    FAULT_S,
    GAS_S,
    LINE_BACK_S,
    MEND_S,
    SOON_S,
    Row,
)

GAS = "co-level"
SOUNDS_AGAIN_S = 10.0
"""After a kill, a standing alarm sounds again: design.md, section 8."""
GAS_LATE_S = MEND_S - GAS_S
"""From the gas to the mend: what a way out that failed itself is late by."""


@dataclass
class Night:
    """What a night with one fault gave."""

    cabin: Cabin
    row: Row

    def transition(self, alarm: str, from_s: float) -> tuple[float, Transition] | None:
        """The first moment from then on at which an alarm was raised."""
        for at_s, one in self.cabin.told:
            is_it = isinstance(one, Transition) and one.alarm == alarm
            if is_it and at_s >= from_s and one.state.value == "unacknowledged":
                return at_s, one
        return None

    def alert_s(self, alarm: str, from_s: float) -> tuple[float, str] | None:
        """The first moment from then on at which a phone has an alert, and its text."""
        for at_s, one in self.cabin.phone:
            is_it = one.topic.endswith("/alert") and ("alarm", alarm) in one.user
            if is_it and at_s >= from_s:
                return at_s, one.payload.decode()
        return None

    def chosen_s(self, pattern: str, from_s: float) -> float | None:
        """When the core chose a sound."""
        return next(
            (
                at_s
                for at_s, one in self.cabin.told
                if isinstance(one, Sound) and one.pattern == pattern and at_s >= from_s
            ),
            None,
        )

    def heard_s(self, from_s: float) -> float:
        """When the sounder's line is next driven on."""
        return next(
            at_s for at_s, is_on in self.cabin.line.changes if is_on and at_s >= from_s
        )


def play(row: Row, folder: Path) -> Night:
    """Play a night with one fault."""
    cabin = Cabin(folder, row.boots)
    cabin.live(FAULT_S)
    row.breaks(cabin)
    cabin.live(GAS_S)
    cabin.co_ppm = 290.0
    cabin.live(MEND_S)
    row.mends(cabin)
    cabin.live(CLEAR_S)
    cabin.co_ppm = 2.0
    cabin.live(END_S)
    cabin.finish()
    return Night(cabin, row)


def judge(row: Row, folder: Path) -> Outcome:
    """Play the row's night and hold it to what is owed; give what it did.

    Raises:
        AssertionError: something was late, lost, missed or not told.
    """
    night = play(row, folder)
    told_s, text = _told(night)
    _stands_at_the_end(night)
    return Outcome(
        fault=row.name,
        rings=_rings(night, told_s),
        gas_sounds=seconds(_gas_sounds_s(night)),
        phone=_phone(night, told_s),
        logged=_logged(night),
        lost=_lost(night),
        back=row.back,
        told=text or "nothing: it is not noticed by anybody",
    )


def _told(night: Night) -> tuple[float | None, str]:
    """The watch tells of it, at the latest a tick after its mend."""
    if not night.row.told:
        told = {
            one.alarm for _, one in night.cabin.told if isinstance(one, Transition)
        }  # fmt: skip
        assert not any(alarm.startswith("watch-fault") for alarm in told)
        return None, ""
    found = night.transition(night.row.told, FAULT_S)
    assert found, f"never told: {night.row.told}"
    at_s, one = found
    assert at_s <= MEND_S + SOON_S
    return at_s, one.text


def _rings(night: Night, told_s: float | None) -> str:
    """A chirp for it, where no gas sounds yet; the sound of the gas goes before."""
    if told_s is None:
        assert night.chosen_s("chirp", 0.0) is None or night.row.is_answered
        return "-"
    if told_s > GAS_S:
        return "under the gas's"
    chirp_s = night.chosen_s("chirp", FAULT_S)
    assert chirp_s == told_s
    return f"chirp {told_s - FAULT_S:.1f}"


def _gas_sounds_s(night: Night) -> float:
    """Gas sounds at once, or, where the sounder failed, once there is a line."""
    chosen_s = night.chosen_s("temporal-four", GAS_S)
    assert chosen_s is not None
    late_s = night.heard_s(chosen_s - SOON_S) - GAS_S
    assert late_s <= (GAS_LATE_S + LINE_BACK_S if night.row.sounds_late else SOON_S)
    return late_s


def _phone(night: Night, told_s: float | None) -> str:
    """The phone has both at once, or once it can be reached, with their age."""
    is_late = night.row.phones_late
    gas = night.alert_s(GAS, GAS_S)
    assert gas, "the phone never heard of the gas"
    assert gas[0] - GAS_S <= (GAS_LATE_S + SOON_S if is_late else SOON_S)
    assert (" late" in gas[1]) == is_late
    if told_s is None:
        return f"-, {gas[0] - GAS_S:.0f}"
    fault = night.alert_s(night.row.told, FAULT_S)
    if told_s >= GAS_S:  # nothing softer goes out beside a danger
        assert fault is None
        return f"held, {gas[0] - GAS_S:.0f}"
    assert fault, "the phone never heard of the fault"
    reached_s = MEND_S if is_late else told_s
    assert fault[0] <= reached_s + SOON_S
    return f"{fault[0] - FAULT_S:.0f}, {gas[0] - GAS_S:.0f}"


def _logged(night: Night) -> str:
    """Every alarm event that was decided stands in the log, in its order."""
    logged = [
        tuple(line.fields[key] for key in ("alarm", "state", "text"))
        for line in night.cabin.logged()
        if line.event == "alarm"
    ]
    decided = [
        (one.alarm, one.state.value, one.text)
        for _, one in night.cabin.told
        if isinstance(one, Transition)
    ]
    if night.row.told != "watch-fault/clock":  # its nights are two files, by their date
        assert logged == decided
    assert sorted(logged) == sorted(decided)
    return f"{len(logged)} of {len(decided)}"


def _lost(night: Night) -> str:
    """No more readings than may be; and no line stands in another day's night."""
    lines = night.cabin.logged()
    lost_s = int(END_S) - sum(line.event == "air" for line in lines)
    assert 0 <= lost_s <= night.row.air_lost_s
    for file in night.cabin.nights.files():
        dates = {night_of(line.wall, None) for line in night.cabin.logged_in(file)}
        assert dates == {file.night}, "two nights are mixed"
    return f"{lost_s} s of readings" if lost_s else "nothing"


def _stands_at_the_end(night: Night) -> None:
    """The fault is over; the gas stands till it is answered, in the state as well."""
    cabin, row = night.cabin, night.row
    standings = cabin.watcher.state.standings
    if row.told and row.told != "watch-fault/clock":  # a step stands two minutes
        assert not standings[row.told].stands, f"{row.told} still stands"
    assert (standings[GAS].state.value == "normal") == row.is_answered
    sounds_on = any(
        is_on and MEND_S < at_s <= MEND_S + SOUNDS_AGAIN_S
        for at_s, is_on in cabin.line.changes
    )
    assert sounds_on != row.is_answered, "gas stands: it sounds on, or soon again"
    blinks = any(at_s > CLEAR_S for at_s, _ in cabin.light_line.changes)
    assert blinks, "the light shows nothing any more"
    kept = StateFile(cabin.folder / "state" / "state").load(cabin.clock.wall(), 1e6)
    assert kept.notes == ()
    assert (GAS in kept.body["alarms"]) == (not row.is_answered)
