"""What must fit together between the keys of one table, and between tables."""

import re
from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from typing import Any

from cabinvigil.daemon.settings.contacts import clashes
from cabinvigil.daemon.settings.errors import Mistake, shown
from cabinvigil.daemon.settings.values import (
    BuzzerSettings,
    Cabin,
    LineSettings,
    MqttSettings,
)

_NONE: Mapping[str, AbstractSet[str]] = {}
_PWM = re.compile(r"pwmchip\d+/\d+")
"""How the kernel names a PWM channel: chip and number."""


def table_mistakes(
    tables: Mapping[str, Any], file: str, wrong: Mapping[str, AbstractSet[str]] = _NONE
) -> Iterator[Mistake]:
    """Check what is good by itself; None is a table that is not there.

    Args:
        tables: by name, each without the keys that are told as mistakes.
        file: for sentences.
        wrong: those keys, by table.
    """
    cabin, mqtt = tables.get("cabin"), tables.get("mqtt")
    if isinstance(cabin, Cabin):
        yield from _cabin(cabin, file)
    if isinstance(mqtt, MqttSettings):
        yield from _mqtt(mqtt, file, wrong.get("mqtt", frozenset()))
    buzzer = tables.get("buzzer")
    if isinstance(buzzer, BuzzerSettings) and "tone_hz" not in wrong.get("buzzer", ()):
        yield from _tone(buzzer, file)
    yield from _lines(tables, file)


def _cabin(cabin: Cabin, file: str) -> Iterator[Mistake]:
    low, high = cabin.burner_low_kw, cabin.burner_kw
    if low is not None and high is not None and low > high:
        yield Mistake(
            file,
            "cabin.burner_low_kw",
            f"is {low:g} kW, above the {high:g} kW of burner_kw",
            "give the lowest setting here and the highest there",
        )
    if cabin.people is None:
        return
    for key in ("children", "smokers", "pregnant"):
        count = getattr(cabin, key)
        if count is not None and count > cabin.people:
            what = f"is {count}, more than the {cabin.people} of people"
            mend = "count each of them among people"
            yield Mistake(file, f"cabin.{key}", what, mend)


def _mqtt(mqtt: MqttSettings, file: str, wrong: AbstractSet[str]) -> Iterator[Mistake]:
    is_nobodys = mqtt.user is None and "user" not in wrong
    if mqtt.password_file is not None and is_nobodys:
        what = "is given without a user"
        yield Mistake(file, "mqtt.password_file", what, "add `user`, or remove it")
    if mqtt.ca_file is not None and not mqtt.tls:
        what = "is given, but tls is false, so that nothing would be checked"
        mend = "take out `tls = false`, or take this out"
        yield Mistake(file, "mqtt.ca_file", what, mend)
    has_both = wrong.isdisjoint({"readings_s", "heartbeat_s"})
    if has_both and mqtt.readings_s > 10 * mqtt.heartbeat_s:
        yield Mistake(
            file,
            "mqtt.readings_s",
            f"is {mqtt.readings_s:g}, more than ten heartbeats apart",
            f"give {mqtt.heartbeat_s:g} or so",
        )


def _tone(buzzer: BuzzerSettings, file: str) -> Iterator[Mistake]:
    """Hold tone and line against each other: only the PWM hardware keeps a pitch."""
    is_pwm = _PWM.fullmatch(buzzer.line) is not None
    if buzzer.tone_hz is not None and not is_pwm:
        what = f"is given, but line {shown(buzzer.line)} cannot give a tone"
        mend = 'name a PWM channel, like line = "pwmchip0/0", or take this out'
        yield Mistake(file, "buzzer.tone_hz", what, mend)
    if buzzer.tone_hz is None and is_pwm:
        what = f"is {shown(buzzer.line)}, which needs a tone"
        mend = "add `tone_hz = 520.0`, or name a GPIO line"
        yield Mistake(file, "buzzer.line", what, mend)


def _lines(tables: Mapping[str, Any], file: str) -> Iterator[Mistake]:
    """Find a GPIO line that two things would drive or read."""
    used: dict[str, str] = {}
    for name in ("buzzer", "light", "button"):
        table = tables.get(name)
        if not isinstance(table, BuzzerSettings | LineSettings):
            continue
        for key in ("line", "second_line", "sense_line"):
            line = getattr(table, key, None)
            if line is None:
                continue
            at = f"{name}.{key}"
            if line in used:
                what = f"is {shown(line)}, which {used[line]} has too"
                yield Mistake(file, at, what, "give each its own line")
            used.setdefault(line, at)
    yield from clashes(tables.get("part", {}), used, file)
