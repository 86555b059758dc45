"""What the page shows of each cabin: pure, but for its own memory.

Nothing here is believed for its being the last that was heard: every value has the
moment at which it was true, and a cabin that is not live has no word but `silent`.
"""

from collections.abc import Mapping
from typing import Any

from cabinvigil.daemon.air.moisture import dew_point_c
from cabinvigil.daemon.outputs.mqtt.messages import (
    BROKEN,
    OUT,
    PHONE_TEST,
    WAKE,
)
from cabinvigil.daemon.phone import part_test
from cabinvigil.daemon.phone.board_cabin import PAST_S, HeardCabin, Value
from cabinvigil.daemon.phone.inbound import (
    AlarmHeard,
    BeatHeard,
    EstimatesHeard,
    Inbound,
    MorningHeard,
    ReadingsHeard,
    TextHeard,
    TrialHeard,
)
from cabinvigil.daemon.phone.labels import LABELS, blind, told
from cabinvigil.daemon.phone.limits import UsualLimit
from cabinvigil.daemon.phone.rings import name_of
from cabinvigil.daemon.phone.silence import SilenceWatch
from cabinvigil.daemon.text.units_said import SI, Units

SAFE, LOOK, WAKE_WORD, OUT_WORD, SILENT, TRIAL, UNKNOWN = (
    *("safe", "look", "wake", "out", "silent", "trial"),
    "not known",
)
GRAVITY = (OUT_WORD, SILENT, UNKNOWN, WAKE_WORD, LOOK, TRIAL, SAFE)
"""The gravest first; what is not known stands in a danger's place."""
STANDING = frozenset(
    {
        *("unacknowledged", "acknowledged"),
        *("latched-unacknowledged", "latched-acknowledged"),
    }
)
UNANSWERED = frozenset(
    {"unacknowledged", "returned-unacknowledged", "latched-unacknowledged"}
)
NOTED = frozenset({"returned-unacknowledged", "shelved", "out-of-service"})
"""States that are no danger now, and not nothing."""
OLD_S = 60.0
"""A reading older than this is struck: six times their pace."""
SAFE_S = 30.0
"""And by one older than this nothing is called safe: three times their pace."""
ESTIMATES_OLD_S = 150.0
MOST_ALARMS = 128
RESTART_S = 20.0
"""What a former run of the monitor said to stand is dropped so long after a new run
began: it says again what still stands."""

GASES = ("o2_pct", "co_ppm", "co2_ppm", "gas_lel_pct")


class Board:
    """All cabins as they are shown; not thread-safe."""

    def __init__(
        self,
        silence: SilenceWatch,
        limits: Mapping[str, UsualLimit],
        place: str,
        units: Units = SI,
    ) -> None:
        """Take who says whether a cabin is live, and what the page shows.

        Args:
            silence: knows which cabins are live.
            limits: by quantity.
            place: where this is.
            units: in which numbers are shown.
        """
        self._units = units
        self._silence = silence
        self._limits = limits
        self._place = place
        self._cabins: dict[str, HeardCabin] = {}

    def hear(self, heard: Inbound, now_s: float, *, is_retained: bool) -> None:
        """Take what the broker brought of a cabin that is watched."""
        if heard.cabin not in self._silence.cabins_set:
            return
        cabin = self._cabins.setdefault(heard.cabin, HeardCabin())
        match heard:
            case ReadingsHeard() if not is_retained:
                self._readings(cabin, heard, now_s)
            case EstimatesHeard() if not is_retained:
                cabin.estimates, cabin.estimates_s = heard.fields, now_s
            case AlarmHeard():
                self._alarm(cabin, heard)
            case TextHeard(alarm=alarm) if alarm == PHONE_TEST:
                cabin.test, cabin.test_s = heard, now_s
                cabin.tests += 1
            case TextHeard(alarm="answered"):
                cabin.answered = heard.text
            case MorningHeard():
                cabin.morning = heard.text
            case TrialHeard():
                cabin.trial = heard if heard.is_on else None
            case _:
                pass

    def alive(self, beat: BeatHeard, now_s: float) -> None:
        """Note which run of the monitor is alive."""
        if beat.cabin not in self._silence.cabins_set:
            return
        cabin = self._cabins.setdefault(beat.cabin, HeardCabin())
        cabin.is_emulated, cabin.unknown = beat.is_emulated, beat.unknown
        cabin.part_test = part_test.heard(cabin.part_test, beat, now_s)
        if cabin.run != beat.run:
            cabin.run, cabin.run_began_s = beat.run, now_s
            # What another run forecast or somebody acknowledged then is of no use.
            cabin.estimates, cabin.answered = {}, ""

    def _readings(self, cabin: HeardCabin, heard: ReadingsHeard, now_s: float) -> None:
        given = dict(heard.values)
        if "temp_c" in given and "rh_pct" in given and "dew_point_c" not in given:
            (temp_c, age_s, _), (rh_pct, _, _) = given["temp_c"], given["rh_pct"]
            if -60.0 < temp_c < 80.0 and 0.0 < rh_pct <= 100.0:
                given["dew_point_c"] = (dew_point_c(temp_c, rh_pct), age_s, False)
        for series, (value, age_s, at_least) in given.items():
            if series not in LABELS:
                continue
            kept = cabin.values.get(series)
            if kept is None:
                kept = cabin.values[series] = Value(value, now_s - age_s, at_least)
            kept.put(value, now_s - age_s, at_least=at_least)

    def _alarm(self, cabin: HeardCabin, heard: AlarmHeard) -> None:
        before = cabin.alarms.get(heard.alarm)
        is_same_run = before is not None and before.run == heard.run
        if before is not None and is_same_run and heard.seq <= before.seq:
            return
        is_former = before is not None and (
            heard.run < before.run or before.run == cabin.run
        )
        if is_former and not is_same_run and heard.run != cabin.run:
            return  # kept by the broker from a former run
        rings = heard.state in UNANSWERED
        was_ringing = before is not None and before.state in UNANSWERED and is_same_run
        if rings and not (was_ringing and before and before.priority == heard.priority):
            cabin.stands[heard.alarm] = heard.seq
            cabin.answered = ""  # who acknowledged before it sounded has not this
        if heard.state in STANDING | NOTED:
            if len(cabin.alarms) < MOST_ALARMS or heard.alarm in cabin.alarms:
                cabin.alarms[heard.alarm] = heard
        elif before is not None:
            cabin.alarms[heard.alarm] = heard  # over: remembered for its number

    # --- what is shown ------------------------------------------------------------

    def word(self, name: str, now_s: float) -> str:
        """Return the one word of a cabin."""
        cabin = self._cabins.get(name)
        if not self._silence.is_live(name, now_s):
            is_silent = self._silence.is_told(name) or self._silence.is_due(name, now_s)
            return SILENT if is_silent else UNKNOWN
        if cabin is None:
            return UNKNOWN
        stands = self._standing(cabin, now_s)
        stands = [one for one in stands if not cabin.is_test(one, now_s)]
        worst = max((o.urgency for o in stands if o.state in STANDING), default=0)
        if worst >= OUT:
            return OUT_WORD
        if cabin.trial is not None and cabin.trial.shown(cabin.run):
            return TRIAL
        if worst >= WAKE:
            return WAKE_WORD
        if cabin.part_test is not None and now_s < cabin.part_test.until_s:
            return TRIAL
        # Without a fresh gas, and a monitor that is there, nobody may call it good.
        is_seen = any(
            one is not None and now_s - one.at_s <= SAFE_S
            for one in map(cabin.values.get, GASES)
        )
        if not is_seen or self._silence.is_lost(name):
            return UNKNOWN
        return LOOK if stands or cabin.unknown else SAFE

    def _standing(self, cabin: HeardCabin, now_s: float) -> list[AlarmHeard]:
        is_settled = now_s - cabin.run_began_s > RESTART_S
        alarms = [
            one
            for one in cabin.alarms.values()
            if one.state in STANDING | NOTED
            and not (is_settled and cabin.run and one.run != cabin.run)
        ]
        # Of equals the newest leads: a forecast of an hour ago is true no more.
        alarms.sort(key=lambda one: one.since, reverse=True)
        alarms.sort(key=lambda one: (-(one.state in STANDING), -one.urgency))
        alarms.sort(key=lambda one: cabin.is_test(one, now_s))
        return alarms

    def unresolved(self, name: str, now_s: float) -> str:
        """Return what wakes people and was not over when last heard; '' for nothing."""
        cabin = self._cabins.get(name, HeardCabin())
        for one in self._standing(cabin, now_s):
            if one.urgency >= WAKE and not cabin.is_test(one, now_s):
                return one.text
        return ""

    def rows(self, now_s: float) -> list[dict[str, Any]]:
        """Return the list of cabins, gravest first, oldest silence first."""
        rows = []
        for name in self._silence.cabins:
            word = self.word(name, now_s)
            cabin = self._cabins.get(name)
            stands = self._standing(cabin, now_s) if cabin is not None else []
            age_s = self._silence.age_s(name, now_s)
            row = {
                "cabin": name,
                "name": name_of(name),
                "word": word,
                "text": stands[0].text if stands and word != TRIAL else "",
                "age_s": None if age_s is None else round(age_s, 1),
                "silent_in_s": round(self._silence.due_in_s(name, now_s), 1),
            }
            rows.append((GRAVITY.index(word), -(age_s or 0.0), name, row))
        rows.sort(key=lambda one: one[:3])
        return [row for *_, row in rows]

    def view(self, name: str, now_s: float) -> dict[str, Any] | None:
        """Return all that is shown of one cabin; None: there is none of that name."""
        if name not in self._silence.cabins_set:
            return None
        cabin = self._cabins.get(name, HeardCabin())
        age_s = self._silence.age_s(name, now_s)
        stands = self._standing(cabin, now_s)
        trial, parts = cabin.trial, cabin.part_test
        return {
            "cabin": name,
            "name": name_of(name),
            "word": self.word(name, now_s),
            "cause": self._silence.cause(name),
            "blind": blind(cabin.unknown),
            "age_s": None if age_s is None else round(age_s, 1),
            "silent_in_s": round(self._silence.due_in_s(name, now_s), 1),
            "period_s": self._silence.period_s(name),
            "stands": [self._stand(cabin, one, now_s) for one in stands[:12]],
            "answered": cabin.answered if stands else "",
            "test": _test(cabin, now_s),
            "decides": self._decides(cabin, stands, now_s),
            "values": self._values(cabin, now_s),
            "count": len(self._silence.cabins),
            "estimates": self._estimates(name, cabin, now_s),
            "trial": None if trial is None else trial.shown(cabin.run),
            "part_test": parts.by if parts and now_s < parts.until_s else None,
            "morning": cabin.morning,
            "place": self._place,
            "emulated": cabin.is_emulated,
        }

    def knows(self, name: str) -> bool:
        """Return whether a cabin is shown."""
        return name in self._silence.cabins_set

    def stand_of(self, name: str, alarm: str, now_s: float) -> int | None:
        """Return the present stand of what can be answered; None: nothing can."""
        cabin = self._cabins.get(name)
        if cabin is None:
            return None
        if alarm == PHONE_TEST:
            test = _test(cabin, now_s)
            return None if test is None else cabin.tests
        heard = cabin.alarms.get(alarm)
        if heard is None or not _is_open(cabin, heard):
            return None
        return cabin.stands.get(alarm, heard.seq)

    def _stand(
        self, cabin: HeardCabin, one: AlarmHeard, now_s: float
    ) -> dict[str, Any]:
        return {
            "of_test": cabin.is_test(one, now_s),
            "alarm": one.alarm,
            "text": one.text,
            "priority": one.priority,
            "state": one.state,
            "since": one.since,
            "stand": cabin.stands.get(one.alarm, one.seq),
            "open": _is_open(cabin, one) and one.urgency != BROKEN,
        }

    def _values(self, cabin: HeardCabin, now_s: float) -> list[dict[str, Any]]:
        return [
            self._number(series, one, now_s)
            for series in LABELS
            if (one := cabin.values.get(series)) is not None
        ]

    def _number(self, series: str, one: Value, now_s: float) -> dict[str, Any]:
        value, unit = told(series, one.value, self._units)
        limit = self._limits.get(series)
        return {
            "series": series,
            "label": LABELS[series].words,
            "unit": unit,
            "decimals": LABELS[series].decimals,
            "value": value,
            "at_least": one.at_least,
            "age_s": round(now_s - one.at_s, 1),
            "limit": None if limit is None else told(series, limit.at, self._units)[0],
            "side": None if limit is None else limit.side,
        }

    def past(self, name: str, now_s: float) -> dict[str, list[list[float]]]:
        """Return the last hour by series: minutes before now, and values."""
        cabin = self._cabins.get(name)
        if cabin is None:
            return {}
        return {
            series: [
                [round((at_s - now_s) / 60.0, 1), told(series, value, self._units)[0]]
                for at_s, value in zip(one.times, one.values, strict=True)
                if now_s - at_s <= PAST_S
            ]
            for series, one in cabin.values.items()
        }

    def _decides(
        self, cabin: HeardCabin, stands: list[AlarmHeard], now_s: float
    ) -> str | None:
        """Return the series that stands large: of what sounds, else nearest a limit."""
        known = {s: v for s, v in cabin.values.items() if s in self._limits}
        for one in stands:
            for series in known:
                if one.alarm.startswith(series.split("_")[0] + "-"):
                    return series
        fresh = {s: v for s, v in known.items() if now_s - v.at_s <= OLD_S} or known

        def used(series: str) -> float:
            limit = self._limits[series]
            return (fresh[series].value - limit.fresh) / (limit.at - limit.fresh)

        return max(fresh, key=used) if fresh else None

    def _estimates(
        self, name: str, cabin: HeardCabin, now_s: float
    ) -> dict[str, Any] | None:
        age_s = now_s - cabin.estimates_s
        if age_s > ESTIMATES_OLD_S or not self._silence.is_live(name, now_s):
            return None
        return {**cabin.estimates, "age_s": round(age_s, 1)}


def _test(cabin: HeardCabin, now_s: float) -> dict[str, Any] | None:
    """Return the test that somebody is to answer; None: there is none."""
    if cabin.test is None or now_s - cabin.test_s > cabin.test.expires_s:
        return None
    return {"alarm": PHONE_TEST, "stand": cabin.tests, "text": cabin.test.text}


def _is_open(cabin: HeardCabin, heard: AlarmHeard) -> bool:
    """Return whether an alarm waits for an answer in the run that is alive."""
    return heard.state in UNANSWERED and cabin.run in ("", heard.run)
