"""The product's pure core, driven event by event, and shown in plain values.

The only file here, with `cabins.py`, that knows the product.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
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
    Sound,
    SourceFault,
    SourceOk,
    Transition,
)
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
FORK_EVENTS = 4
"""A restored snapshot is played on beside the monitor for so many events."""


@dataclass(slots=True)
class Fork:
    """A snapshot that was restored, and how many events it is still played."""

    state: State
    left: int


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
        new = sorted(rings_restored - rings) if is_confirmed else []
        self.compared["h/softer"] = f"{lost} ring no more" if lost else ""
        self.compared["h/louder"] = f"{new} ring again" if new else ""
        if not lost and not new:
            self._forks.append(Fork(restored, FORK_EVENTS))

    def _step_forks(self, event: Event, up_s: float) -> None:
        for fork in self._forks:
            fork.state, _ = step(fork.state, event, up_s)
            fork.left -= 1
            pattern, restored = self.sound.pattern, fork.state.sound.pattern
            differs = pattern != restored
            if max(LOUDNESS[pattern], LOUDNESS[restored]) < WAKING:
                continue
            if differs or "h/later" not in self.compared:
                why = f"{pattern} became {restored}"
                self.compared["h/later"] = why if differs else ""
        self._forks = [fork for fork in self._forks if fork.left > 0]

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


def _ringing(state: State) -> set[str]:
    return {
        f"{alarm} at {status.priority.word}"
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


def sounds(commands: Sequence[Command]) -> tuple[str, ...]:
    """Return every pattern that was asked for, in order."""
    return tuple(command.pattern for command in commands if isinstance(command, Sound))
