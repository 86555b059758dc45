"""What is owed of every way out when a part fails, and how it came out."""

from itertools import pairwise
from pathlib import Path

from cabinvigil.daemon.core.model import Priority, Transition
from cabinvigil.daemon.core.notification import FAULT_WAIT_S
from cabinvigil.daemon.core.vital import LOST_WAKES_S
from cabinvigil.daemon.core.vital import is_vital as guards
from tests.faults.nights import BACK_S, SUSPECT, FaultyNight, play_fault, settings
from tests.faults.outcome import Outcome, seconds
from tests.faults.row import NOTHING, TICK_S, Row

GASES = ("o2-", "co-", "co2-", "gas-", "displaced", "fine-dust")
VITAL = ("o2_pct", "co_ppm")
"""Who loses the only part that gives one of these is woken: nothing then watches it.
The guard still warms up, and does not count yet."""
RINGS_S = 20.0
"""290 ppm of CO, the most that an answer quiets, reach 200 on a module of 13 s lag that
reads 5 % low at 15 °C within 17 s; a frame and a tick more."""
GUARD_GAP_S = 2.0 * TICK_S
"""The guard speaks once a second: no two ticks on end may lack it, whoever fails."""
MEASURES_ON = ("stick", "drop")
"""A part that stands still is heard on; of one that loses bytes now and then some
lines are whole, and those count."""


def judge(row: Row, folder: Path) -> Outcome:
    """Play the row's night and hold it to what is owed; give what it did.

    Raises:
        AssertionError: something was late, lost, missed or not told.
    """
    night = play_fault(settings(row.kind, folder), row.fault, row.within_s)
    told_s, text = _told(row, night)
    return Outcome(
        fault=f"{row.kind}: {row.fault}",
        rings=_rings(night, told_s),
        gas_sounds=seconds(_gas_sounds_s(night)),
        phone=_phone(row, night, told_s, text),
        logged=_logged(night),
        lost=_lost(row, night, told_s),
        back=_back(row, night),
        told=text or f"nothing ({row.note})",
    )


def _told(row: Row, night: FaultyNight) -> tuple[float | None, str]:
    """In time, in one sentence, once gas has not been cried for it."""
    false = [one.alarm for at, one in night.raised(*GASES) if at < night.gas_at_s]
    assert false == []
    if row.told == NOTHING:
        assert night.raised("sensor-", "watch-fault/main") == []
        return None, ""
    raised = night.raised(row.told)
    assert raised, f"never told; but {[one.alarm for _, one in night.raised('')]}"
    at_s, one = raised[0]
    told_s = at_s - night.fault_at_s
    assert -TICK_S <= told_s <= row.within_s, f"told after {told_s} s"
    assert row.words in one.text
    assert (SUSPECT in one.text) or ("bus main" in one.text)
    return told_s, one.text


def _rings(night: FaultyNight, told_s: float | None) -> str:
    """A chirp as soon as it is told; woken as well where oxygen is unguarded."""
    heard = [
        (at_s - night.fault_at_s, pattern)
        for at_s, pattern in night.sounds()
        if 0.0 < at_s <= night.gas_at_s and pattern != "quiet"
    ]
    patterns = [pattern for _, pattern in heard]
    if told_s is None:
        assert patterns == []
        return "-"
    assert night.watcher is not None
    keys = night.watcher.composed.keys.items()
    own = [key for (part, _), key in keys if part == SUSPECT]
    is_vital = any(map(guards, own))
    woken = [at_s for at_s, _ in night.raised("sensor-stale", "sensor-stuck")]
    is_lost = is_vital and any(at_s <= night.gas_at_s for at_s in woken)
    assert is_lost or not is_vital or night.gas_at_s - night.fault_at_s < LOST_WAKES_S
    assert [one for one in patterns if one != "chirp"] == ["three-pulse"] * is_lost
    assert patterns.count("chirp") <= 1
    assert heard[0][0] == told_s
    return ", ".join(f"{pattern[:5]} {at_s:.1f}" for at_s, pattern in heard)


def _gas_sounds_s(night: FaultyNight) -> float:
    """The gas that comes while the part fails sounds, by the part beside it."""
    heard = [
        at_s - night.gas_at_s
        for at_s, pattern in night.sounds()
        if pattern == "temporal-four"
    ]
    assert heard, "the gas was never heard"
    assert 0.0 <= heard[0] <= RINGS_S
    return heard[0]


def _phone(row: Row, night: FaultyNight, told_s: float | None, text: str) -> str:
    """What is told and what rings is on the phone at the same moment.

    The fault of what a vital alarm hangs on may wait for that alarm: a minute at most,
    and behind the danger that comes meanwhile.
    """
    alerts = [
        (at_s, one.payload.decode())
        for at_s, one in night.phone
        if one.topic.endswith("/alert")
    ]
    if told_s is not None:
        begin_s = told_s + night.fault_at_s
        within_s = FAULT_WAIT_S + TICK_S if _may_wake(night, text) else 0.0
        graver = [
            one.text for _, one in night.alerts("") if one.priority >= Priority.MEDIUM
        ]
        assert any(
            begin_s <= at_s <= begin_s + within_s
            and (text in said or any(grave in said for grave in graver))
            for at_s, said in alerts
        )
    (gas_s, gas), *_ = [
        (at_s, one)
        for at_s, one in night.raised("co-level")
        if at_s > night.gas_at_s and one.priority is Priority.HIGH
    ]
    assert any(at_s == gas_s and gas.text in said for at_s, said in alerts)
    return f"{seconds(told_s)}, {gas_s - night.gas_at_s:.1f}"


def _may_wake(night: FaultyNight, text: str) -> bool:
    """Say whether an alarm that can wake people hangs on what this fault is about."""
    assert night.watcher is not None
    told = {one.alarm for _, one in night.raised("") if one.text == text}
    return any(
        spec.gravest >= Priority.MEDIUM and not told.isdisjoint(spec.suppressed_by)
        for spec in night.watcher.composed.setup.alarms
    )


def _logged(night: FaultyNight) -> str:
    """Every alarm event that was decided is in the log, in its order, and no other."""
    decided = [
        (one.alarm, one.state.value, one.text)
        for _, one in night.commands
        if isinstance(one, Transition)
    ]
    logged = [
        tuple(line.fields[key] for key in ("alarm", "state", "text"))
        for line in night.logged
        if line.event == "alarm"
    ]
    assert logged == decided
    return f"{len(logged)} of {len(decided)}"


def _heard_s(night: FaultyNight, part: str) -> list[float]:
    """The ticks that have a value of this part."""
    assert night.watcher is not None
    keys = {key for (one, _), key in night.watcher.composed.keys.items() if one == part}
    return [
        line.up_s
        for line in night.logged
        if line.event == "air" and not keys.isdisjoint(line.fields)
    ]


def _gap_s(heard_s: list[float]) -> float:
    return max(b - a for a, b in pairwise(heard_s))


def _lost(row: Row, night: FaultyNight, told_s: float | None) -> str:
    """Its own readings and no other's; and no last value in the place of one."""
    assert _gap_s(_heard_s(night, "guard")) <= GUARD_GAP_S
    own_s = _heard_s(night, SUSPECT)
    if told_s is not None and row.fault not in MEASURES_ON:
        from_s = night.fault_at_s + told_s + TICK_S
        assert [at_s for at_s in own_s if from_s < at_s < night.well_at_s] == []
    if row.fault == "stick":
        return "nothing: it is heard on"
    return f"its own readings, {_gap_s(own_s):.0f} s"


def _back(row: Row, night: FaultyNight) -> str:
    """It measures again without a restart, and its fault is over."""
    assert night.stands("sensor-", "watch-fault") == []
    assert night.watcher is not None
    assert set(night.watcher.numbers()) == set(
        night.watcher.composed.setup.layout.series
    )
    first_s = next(at_s for at_s in _heard_s(night, SUSPECT) if at_s > night.well_at_s)
    back_s = first_s - night.well_at_s
    assert back_s <= BACK_S
    if row.told == NOTHING:
        return f"in {back_s:.0f} s"
    cleared_s = [
        at_s - night.well_at_s
        for at_s, one in night.commands
        if isinstance(one, Transition)
        and one.alarm.startswith(row.told)
        and one.state.value in ("normal", "returned-unacknowledged")
    ][-1]
    assert cleared_s <= BACK_S
    return f"in {back_s:.0f} s, told over in {cleared_s:.0f}"
