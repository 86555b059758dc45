"""The product's pure core, driven event by event, and shown in plain values.

The only file here, with `cabins.py`, that knows the product.
"""

import json
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from cabinvigil.daemon.ask.parse import Ask, RefusedError, parse_ask
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    AlarmState,
    Alert,
    Command,
    Event,
    Record,
    Sound,
    SourceFault,
    SourceOk,
    Transition,
)
from cabinvigil.daemon.core.setup import quantity_of
from cabinvigil.daemon.core.snapshot import carry_over, restore, resume, to_plain
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Topics
from cabinvigil.daemon.outputs.mqtt.requests import Envelope, Reply, RequestGate
from cabinvigil.drivers.kit.quantity import QUANTITIES
from tests.invariants.cabins import CabinBuild
from tests.invariants.moment import (
    LOUDNESS,
    PHONE,
    SECOND_PHONE,
    WAKING,
    Alarms,
    AlarmView,
    Message,
)
from tests.invariants.parts import Sample

PRESS = Act(ActKind.ACKNOWLEDGE, by="button")
"""What a short press of the button becomes."""
FORK_EVENTS = 6
"""A restored snapshot is played on beside the monitor for so many events at least."""
FORK_S = 240.0
"""... and for so long."""
LATE_S = 75.0
"""So much later a restored snapshot may ring: the longest delay of a limit that wakes
(15 s) counts anew, or a mean's minutes, which are kept by the minute; and by the ticks
that this takes."""


GIVEN = 3
"""Readings: one is not believed, and a delay counts from the second."""
EARLY_S = 60.0
"""So much sooner: a mean's minutes are kept by the minute, and shift by one at most."""


@dataclass(slots=True)
class Fork:
    """A snapshot that was restored when, and how many events it has been played."""

    state: State
    at_s: float
    loudness: int
    """Of what rang at that moment: it may go on until the air has been good anew."""
    events: int = 0
    softer_s: float | None = None
    """Since when it has rung softer than what it was taken from."""
    softer: int = 0
    """For so many events."""
    given: Counter[str] = field(default_factory=Counter)
    """Readings since, by channel."""
    louder_s: float | None = None
    """Since when it has rung louder than that, and than what rang as it was taken."""


class Monitor:
    """The core over one cabin, killed, restarted and reloaded as the course wants."""

    def __init__(self, cabin: CabinBuild) -> None:
        """Start it for the first time."""
        self.cabin = cabin
        self.state: State = start(cabin.build.setup, 0.0)
        self.alarms: Alarms = {}
        self.sound = Sound("quiet")
        self.compared: dict[str, str] = {}
        self._forks: list[Fork] = []
        self._gate = self._new_gate()
        self._asks: list[Ask] = []

    # --- events -------------------------------------------------------------------

    def feed(self, event: Event, up_s: float) -> list[Command]:
        """Step the core; forks step beside it."""
        self.state, commands = step(self.state, event, up_s)
        self._show(commands)
        self._step_forks(event, up_s)
        return commands

    def reload(self, cabin: CabinBuild, up_s: float) -> list[Command]:
        """Go on with another config."""
        self.state, _ = carry_over(self.state, cabin.build.setup, up_s)
        self.cabin = cabin
        self._forks.clear()
        return self._show(resume(self.state, up_s))

    def restart(self, down_s: float | None) -> list[Command]:
        """Be killed, and start with what was kept; its own time begins anew."""
        setup = self.cabin.build.setup
        self.state, _ = restore(setup, self._snapshot(), 0.0, down_s=down_s)
        self._gate = self._new_gate()
        self._forks.clear()
        return self._show(resume(self.state, 0.0))

    def fork(self, up_s: float, *, is_confirmed: bool) -> None:
        """Restore a snapshot beside, and compare what rings.

        Args:
            up_s: the monitor's own time.
            is_confirmed: readings have come since the last start: nothing is in doubt.
        """
        setup = self.cabin.build.setup
        restored, _ = restore(setup, self._snapshot(), up_s, down_s=0.0)
        rings, rings_restored = _ringing(self.state), _ringing(restored)
        lost = sorted(rings - rings_restored)
        doubted = {alarm for alarm, one in self.state.standings.items() if one.in_doubt}
        known = [
            ring
            for ring in rings_restored - rings
            if ring[0] not in doubted and ring[1] in ("medium", "high")
        ]
        new = sorted(known) if is_confirmed else []
        self.compared["h/softer"] = f"{lost} ring no more" if lost else ""
        self.compared["h/louder"] = f"{new} ring again" if new else ""
        if not lost and not new:
            patterns = (self.sound.pattern, restored.sound.pattern)
            loudness = max(LOUDNESS[pattern] for pattern in patterns)
            self._forks.append(Fork(restored, up_s, loudness))

    def _step_forks(self, event: Event, up_s: float) -> None:
        for fork in self._forks:
            fork.state, _ = step(fork.state, event, up_s)
            fork.events += 1
            if isinstance(event, Air):
                fork.given += Counter(key.split("__")[0] for key in event.values)
            pattern, restored = self.sound.pattern, fork.state.sound.pattern
            loudness = LOUDNESS[restored]
            if max(LOUDNESS[pattern], loudness) < WAKING:
                continue
            is_softer = loudness < LOUDNESS[pattern]
            if not is_softer:
                fork.softer_s, fork.softer = None, 0
            elif fork.softer_s is None:
                fork.softer_s = up_s
            fork.softer += is_softer
            # How long a part stood still or was in doubt is in no snapshot, nor the
            # minutes of a rate: they count anew, and "c" holds how long doubt may take.
            is_about_air = not self.sound.alarm.startswith(("sensor-", "o2-falling"))
            is_late = fork.softer > 3 and up_s - (fork.softer_s or up_s) > LATE_S
            is_late = is_late and is_about_air and self._is_given_to(fork)
            is_louder = loudness > max(LOUDNESS[pattern], fork.loudness)
            if not is_louder:
                fork.louder_s = None
            elif fork.louder_s is None:
                fork.louder_s = up_s
            is_louder = is_louder and up_s - (fork.louder_s or up_s) > EARLY_S
            if is_late or is_louder or "h/later" not in self.compared:
                why = f"{pattern} became {restored}"
                self.compared["h/later"] = why if is_late or is_louder else ""
        self._forks = [
            fork
            for fork in self._forks
            if fork.events < FORK_EVENTS or up_s - fork.at_s < FORK_S
        ]

    def _is_given_to(self, fork: "Fork") -> bool:
        """Return whether a fork was given enough of what rings to ring by itself.

        A part that fell silent as the danger began rings in no run that began after it
        as that danger: there the alarm that nothing measures it stands in its place.
        """
        setup = self.cabin.build.setup
        specs = [one for one in setup.alarms if one.id == self.sound.alarm]
        quantities = {quantity_of(one) for one in specs} - {""}
        return not quantities or any(fork.given[q] >= GIVEN for q in quantities)

    def _snapshot(self) -> Any:
        return json.loads(json.dumps(to_plain(self.state), allow_nan=False))

    # --- what comes in ------------------------------------------------------------

    def air(self, samples: Mapping[str, Sequence[Sample]]) -> Air:
        """Make the event of a tick from what parts gave, rounded as the shell does."""
        values: dict[str, float] = {}
        qualities: dict[str, set[str]] = {"at-least": set(), "outside-range": set()}
        for part, given in samples.items():
            for quantity, value, quality in given:
                key = self.cabin.build.keys.get((part, quantity))
                if key is None:
                    continue
                values[key] = round(value, QUANTITIES[quantity].decimals)
                if quality in qualities:
                    qualities[quality].add(key)
        at_least, doubtful = (frozenset(keys) for keys in qualities.values())
        return Air(values, at_least, doubtful)

    def admit(
        self, body: Mapping[str, Any], by: str, up_s: float, wall: datetime
    ) -> list[Act]:
        """Pass an ask through the real gates; empty where they refuse it."""
        payload = json.dumps(body).encode()
        self._asks.clear()
        if by == "phone":
            stamp = Stamp(up_s, wall)
            self._gate.arrived(payload, Envelope(), stamp, lambda *_: None)
        else:
            try:
                self._asks.append(parse_ask(payload, "socket", wall))
            except RefusedError:
                return []
        return [ask.act for ask in self._asks if ask.act is not None]

    def _new_gate(self) -> RequestGate:
        return RequestGate(Topics("cabin"), self._on_ask, lambda _why: None)

    def _on_ask(self, ask: Ask, reply: Reply) -> None:
        self._asks.append(ask)
        reply({"ok": True})

    # --- what is shown ------------------------------------------------------------

    @property
    def blood_pct(self) -> float:
        """Return the dose, in % of haemoglobin."""
        return self.state.history.dose.cohb_pct

    @property
    def known_alarms(self) -> Collection[str]:
        """Return every alarm that the config has."""
        return self.state.standings.keys()

    @property
    def faulty_sources(self) -> Sequence[str]:
        """Return the sources with a fault now."""
        return tuple(self.state.history.sources)

    def _show(self, commands: list[Command]) -> list[Command]:
        """Follow the sound, and view every alarm that does not rest."""
        for command in commands:
            if isinstance(command, Sound) and command.pattern != "test":
                self.sound = command
        views = {
            alarm: AlarmView(
                status.state.value,
                int(status.priority),
                int(status.priority_while_shelved or 0),
                status.text,
            )
            for alarm, status in self.state.standings.items()
            if status.state is not AlarmState.NORMAL
        }
        if views != self.alarms:
            self.alarms = views
        return commands


def _ringing(state: State) -> set[tuple[str, str]]:
    return {
        (alarm, status.priority.word)
        for alarm, status in state.standings.items()
        if status.sounds
    }


def odd_air(key: str, value: float) -> Air:
    """Make a tick with a value that no part gives."""
    return Air({key: value})


def source_event(source: str, kind: str) -> SourceFault | SourceOk:
    """Make the event of a source's fault, or of its end."""
    if kind == "ok":
        return SourceOk(source)
    return SourceFault(source, kind, f"{source} has the fault {kind}")


def messages(commands: Sequence[Command]) -> tuple[Message, ...]:
    """Return what the phones hear: the second by the last escalation alone."""
    return tuple(
        Message(
            command.alarm,
            int(command.priority),
            SECOND_PHONE if command.escalation >= 2 else PHONE,
            command.text,
        )
        for command in commands
        if isinstance(command, Alert)
    )


def moves(commands: Sequence[Command]) -> tuple[tuple[str, str, str], ...]:
    """Return the transitions: alarm, from, to."""
    return tuple(
        (command.alarm, command.was.value, command.state.value)
        for command in commands
        if isinstance(command, Transition)
    )


def bump_tests(commands: Sequence[Command]) -> tuple[str, ...]:
    """Return what is recorded of bump tests."""
    return tuple(
        str(command.fields["state"])
        for command in commands
        if isinstance(command, Record) and command.event == "bump-test"
    )


def sounds(commands: Sequence[Command]) -> tuple[str, ...]:
    """Return every pattern that was asked for, in order."""
    return tuple(command.pattern for command in commands if isinstance(command, Sound))
