"""What goes to the phone side: topics and payloads, pure.

MQTT 5 carries expiry and more beside the payload, but a bridge or a 3.1.1 client
loses them: so moment and age stand in the payload as well.  Receivers must drop by
these, and never take arrival for freshness.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.core.mention import what
from cabinvigil.daemon.core.model import AlarmState, Alert, Priority, Transition
from cabinvigil.daemon.core.notification import SECOND
from cabinvigil.daemon.core.sentences import ALL_CLEAR, NEWS, unbroken, without_act
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt import senml
from cabinvigil.daemon.text.durations import seconds
from cabinvigil.daemon.text.json import dumps
from cabinvigil.daemon.text.moments import time_of_day, utc_text

ROOT = "cabinvigil"
WATCHING, STOPPED, LOST = "watching", "stopped", "lost"
"""The words of `presence`; `lost` is the Will, which the broker says in our stead."""
LATE_AFTER_S = 30.0
"""An alert older than this says its age: what it tells may be over."""
SECOND_LONGEST = 160
"""Characters of the second phone's line, its moment included (our choice)."""
FRESH_MOMENT = " (03:12)"
SHORT_NAME = 20
"""Characters of a cabin's name where the whole of it leaves no room."""
HEARTBEATS_KEPT = 3
"""A heartbeat expires after so many periods."""
ANSWER_EXPIRY_S = 60
ESTIMATES_EXPIRY_S = 600
READINGS_EXPIRY_S = 600
"""Retained values older than this are no news (our choice)."""
OVER_EXPIRY_S = 86_400
"""An alarm that is over is forgotten after a day, twice what the bridge's queue is made
for (our choice): else each that ever sounded would stand at every broker."""

OUT, WAKE, BROKEN, NOTE, WELL = 5, 4, 3, 2, 1
"""`urgency`: how loud a push should be, as a plain number that any gateway reads: get
out, wake up, something is broken, a note, all is well (our choice; push servers count
to five)."""
URGENCY: Mapping[Priority, int] = MappingProxyType(
    {
        Priority.HIGH: OUT,
        Priority.MEDIUM: WAKE,
        Priority.FAULT: BROKEN,
        Priority.LOW: NOTE,
    }
)
URGENCY_OF_WORD = MappingProxyType(
    {priority.word: urgency for priority, urgency in URGENCY.items()}
)

PHONE_TEST = "precheck"
"""Stands as `alarm` in the test before bed, which the phone's end reports on and shows
with a button; what answers it is for the precheck, not for the monitor."""

JSON = "application/json"
TEXT = "text/plain; charset=utf-8"


@dataclass(frozen=True, slots=True)
class Publication:
    """One message, ready to go."""

    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False
    expiry_s: int | None = None
    content_type: str = JSON
    user: tuple[tuple[str, str], ...] = ()
    """User properties."""
    correlation: bytes = b""


@dataclass(frozen=True, slots=True)
class Pending:
    """An alert that waits: its text is finished only when it goes, with its age."""

    alert: Alert
    seq: int
    up_s: float
    """When it was decided."""

    def age_s(self, now_s: float) -> float:
        """Seconds since it was decided."""
        return max(0.0, now_s - self.up_s)

    def is_expired(self, now_s: float) -> bool:
        """Whether it is too old to be worth a phone's noise."""
        return self.age_s(now_s) >= self.alert.expiry_s


@dataclass(frozen=True, slots=True)
class Forms:
    """How an alert's text begins and ends; a message file has them in its language."""

    fresh: str = "{text} ({moment})"
    late: str = "{text} ({moment}, {age} late)"
    second: str = (
        "Call {cabin} now, no one answers. {text} If nobody picks up, call the "
        "emergency number."
    )
    """On the second phone, what wakes people: that of somebody who is not there, may
    have several cabins to think of, and has another thing to do than a sleeper."""
    rehearsal: str = "Rehearsal, no alarm. {text}"
    """Around the text of every alert of a rehearsal."""
    second_news: str = "{cabin}: {text}"
    """On the second phone, the rest: who acknowledged, what is over, a fault."""

    def for_the_second(
        self, alert: Alert, cabin: str, room: int = SECOND_LONGEST - len(FRESH_MOMENT)
    ) -> str:
        """Return an alert's text for somebody elsewhere, without its moment.

        The sleeper's act is left out.  Where the line is too long for one glance, its
        number goes, then the end of the cabin's name; what the reader must do stays.

        Args:
            alert: as the core tells it.
            cabin: the config's topic word.
            room: characters at most.
        """
        name = cabin.replace("-", " ").capitalize()
        said = without_act(alert.text)
        if alert.priority < Priority.MEDIUM:
            text = alert.text if alert.alarm in NEWS else said
            return self.second_news.format(cabin=name, text=text)
        brief = f"{what(alert.text)}."
        short = f"{name[: SHORT_NAME - 1]}…" if len(name) > SHORT_NAME else name
        line = ""
        for one, text in ((name, said), (name, brief), (short, brief)):
            line = self.second.format(cabin=one, text=text)
            if len(line) <= room:
                break
        return line


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one cabin: several cabins share a broker without touching."""

    cabin: str
    """The config's topic word."""

    def of(self, tail: str) -> str:
        """Return the full topic."""
        return f"{ROOT}/{self.cabin}/{tail}"

    def is_answer(self, topic: str) -> bool:
        """Whether an asker may have its answer there: on `answer` or below it."""
        base = self.of("answer")
        fits = topic == base or topic.startswith(base + "/")
        return fits and len(topic) <= 200 and not set(topic) & {"+", "#", "\0"}


@dataclass(frozen=True, slots=True)
class Messages:
    """Encodes for one cabin and one run of the daemon."""

    topics: Topics
    run: str
    """Tells this start from others: sequence numbers begin again with each."""
    zone: tzinfo | None = None
    """Of the moments in alert texts; None is the machine's own."""
    forms: Forms = Forms()
    is_emulated: bool = False
    """The air is invented: every message says so, in its text or its JSON and beside it
    in a user property."""

    def presence(self, word: str, expiry_s: int | None = None) -> Publication:
        """Return whether the monitor runs, in one word that any client can compare.

        Args:
            word: `WATCHING`, `STOPPED` or `LOST`.
            expiry_s: for how long it is to be believed; None: until the next.
        """
        return Publication(
            self.topics.of("presence"),
            word.encode(),
            retain=True,
            expiry_s=expiry_s,
            content_type=TEXT,
            user=(("run", self.run), *self._marks),
        )

    def heartbeat(
        self,
        seq: int,
        stamp: Stamp,
        period_s: float,
        more: Mapping[str, Any] = MappingProxyType({}),
    ) -> Publication:
        """Say that steps are being completed, and when this is said next.

        Not retained: what a broker kept over a power cut would arrive as if new.

        Args:
            seq: the message's number.
            stamp: now.
            period_s: until the next.
            more: of a test of the parts, and what is not known.
        """
        said = self._json(
            "heartbeat",
            {
                **self._head(seq, stamp),
                "period_s": period_s,
                "next_at": utc_text(stamp.wall + timedelta(seconds=period_s)),
                **more,
            },
            expiry_s=round(HEARTBEATS_KEPT * period_s),
        )
        return replace(said, retain=False)

    def readings(
        self, readings: list[senml.SeriesReading], stamp: Stamp
    ) -> Publication:
        """Return the newest values as SenML."""
        base_name = f"{ROOT}/{self.topics.cabin}/"
        pack = senml.pack(base_name, readings, stamp.wall)
        said = self._json("readings", pack, expiry_s=READINGS_EXPIRY_S)
        return replace(said, qos=0, content_type=senml.MEDIA_TYPE)

    def estimates(
        self, fields: Mapping[str, Any], seq: int, stamp: Stamp
    ) -> Publication:
        """Return what the trend says; keys as in the log."""
        body = {**fields, **self._head(seq, stamp)}
        return self._json("estimates", body, expiry_s=ESTIMATES_EXPIRY_S)

    def alarm(self, change: Transition, seq: int, stamp: Stamp) -> Publication:
        """Return an alarm's state."""
        since = stamp.wall - timedelta(seconds=stamp.up_s - change.since_s)
        is_over = change.state is AlarmState.NORMAL
        body = {
            **change.spelled(since=utc_text(since)),
            "urgency": WELL if is_over else URGENCY[change.priority],
            **self._head(seq, stamp),
        }
        is_over = change.state is AlarmState.NORMAL
        expiry_s = OVER_EXPIRY_S if is_over else None
        return self._json(f"alarm/{change.alarm}", body, expiry_s)

    def morning(
        self, summary: Mapping[str, Any], seq: int, stamp: Stamp
    ) -> Publication:
        """Return the morning's account."""
        return self._json("morning", {**summary, **self._head(seq, stamp)})

    def trial(self, fields: Mapping[str, Any], seq: int, stamp: Stamp) -> Publication:
        """Say that nobody is inside, and until when; or that this is over.

        Args:
            fields: as in the log.
            seq: the message's number.
            stamp: when it began, or ended.
        """
        body = {"state": fields["state"], "text": fields["text"]}
        for_s: float | None = fields.get("for_s")
        if for_s is None:
            body["why"] = fields["why"]
        else:
            body["until"] = utc_text(stamp.wall + timedelta(seconds=for_s))
            body["alarm"] = fields["until"]
        expiry_s = round(OVER_EXPIRY_S if for_s is None else for_s)
        return self._json("trial", {**body, **self._head(seq, stamp)}, expiry_s)

    def alert(self, pending: Pending, now: Stamp) -> Publication:
        """Finish an alert's text for a phone.

        The moment is counted back from now, so that it is right though the clock was
        set while the alert waited.
        """
        alert, age_s = pending.alert, pending.age_s(now.up_s)
        moment = now.wall - timedelta(seconds=age_s)
        form = self.forms.late if age_s >= LATE_AFTER_S else self.forms.fresh
        is_second = alert.escalation >= SECOND
        when = {
            "moment": time_of_day(moment.astimezone(self.zone)),
            "age": unbroken(seconds(age_s)),
        }
        text = alert.text
        if is_second:
            room = SECOND_LONGEST - len(form.format(text="", **when))
            text = self.forms.for_the_second(alert, self.topics.cabin, room)
        text = form.format(text=text, **when)
        if self.is_emulated:
            text = self.forms.rehearsal.format(text=text)
        left_s = max(1, round(alert.expiry_s - age_s))
        tail = "alert-second" if is_second else "alert"
        return Publication(
            self.topics.of(tail),
            text.encode("utf-8", "replace"),
            expiry_s=left_s,
            content_type=TEXT,
            user=(
                ("seq", str(pending.seq)),
                ("run", self.run),
                ("at", utc_text(moment)),
                ("expires", utc_text(moment + timedelta(seconds=alert.expiry_s))),
                ("alarm", alert.alarm),
                ("priority", alert.priority.word),
                ("urgency", str(urgency_of(alert))),
                *self._marks,
            ),
        )

    def answer(
        self, body: Mapping[str, Any], topic: str, correlation: bytes, now: Stamp
    ) -> Publication:
        """Answer an ask, on the topic that the asker named or on `answer`."""
        head: dict[str, Any] = {"at": utc_text(now.wall), "run": self.run}
        if self.is_emulated:
            head["emulated"] = True
        return Publication(
            topic or self.topics.of("answer"),
            _dumps({**body, **head}),
            expiry_s=ANSWER_EXPIRY_S,
            user=self._marks,
            correlation=correlation,
        )

    @property
    def _marks(self) -> tuple[tuple[str, str], ...]:
        return (("emulated", "true"),) if self.is_emulated else ()

    def _head(self, seq: int, stamp: Stamp) -> dict[str, Any]:
        return {
            "at": utc_text(stamp.wall),
            "up_s": round(stamp.up_s, 1),
            "seq": seq,
            "run": self.run,
            **({"emulated": True} if self.is_emulated else {}),
        }

    def _json(self, tail: str, body: Any, expiry_s: int | None = None) -> Publication:
        topic = self.topics.of(tail)
        return Publication(
            topic, _dumps(body), retain=True, expiry_s=expiry_s, user=self._marks
        )


def urgency_of(alert: Alert) -> int:
    """Return how loud a push of this text should be, 1 to 5."""
    return WELL if alert.alarm == ALL_CLEAR else URGENCY[alert.priority]


def run_of(wall: datetime) -> str:
    """Name a run by the moment of its start."""
    return utc_text(wall)


def _dumps(body: Any) -> bytes:
    return dumps(body).encode("utf-8", "replace")
