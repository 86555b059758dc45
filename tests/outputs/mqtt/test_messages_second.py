"""The second phone: its reader is elsewhere, and has another thing to do."""

from datetime import UTC, datetime, timedelta

import pytest

from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    SECOND_LONGEST,
    Messages,
    Pending,
    Topics,
    run_of,
)

START = datetime(2025, 1, 14, 21, 0, tzinfo=UTC)
MESSAGES = Messages(Topics("lapwing"), run_of(START), UTC)


def at(up_s: float) -> Stamp:
    return Stamp(up_s, START + timedelta(seconds=up_s))


def second(text: str, age_s: float = 0.0, **changes: object) -> str:
    """What the second phone shows."""
    known: dict[str, object] = {"alarm": "o2-low", "priority": Priority.HIGH}
    told = Alert(text=text, escalation=2, expiry_s=9e3, **(known | changes))  # type: ignore[arg-type]
    return MESSAGES.alert(Pending(told, 9, 0.0), at(age_s)).payload.decode()


def test_the_second_phone_is_told_what_its_reader_should_do() -> None:
    """Call; what is so, without the sleeper's order; and whom to call then."""
    assert second("Too little oxygen: 19.4 %. Get everyone outside now.") == (
        "Call Lapwing now, no one answers. Too little oxygen: 19.4 %. If nobody "
        "picks up, call the emergency number. (21:00)"
    )
    late = second("Gas leak. Get everyone outside now: no flames.", 720.0)
    assert "no one answers. Gas leak. If" in late
    assert late.endswith("number. (21:00, 12\u00a0min late)")


def test_what_is_too_long_for_the_second_phone_loses_its_number() -> None:
    """A glance is enough to know what to do."""
    text = f"Dangerous air in 12 minutes: carbon dioxide {'very ' * 9}much. Go out."
    line = second(text, 720.0)
    assert "no one answers. Dangerous air in 12 minutes. If nobody" in line
    assert len(line) <= SECOND_LONGEST


@pytest.mark.parametrize(
    ("alarm", "priority", "text", "said"),
    [
        ("all-clear", Priority.LOW, "All is good. Go in.", "All is good. Go in."),
        ("answered", Priority.LOW, "Ana B. acknowledged.", "Ana B. acknowledged."),
        ("missed", Priority.LOW, "Meanwhile: Cold.", "Meanwhile: Cold."),
        ("ended", Priority.LOW, "Over: it hums.", "Over: it hums."),
        ("cold", Priority.LOW, "Cold: 3. Take it.", "Cold: 3."),
        ("sensor-fault/x", Priority.FAULT, "It hums. Hold it.", "It hums."),
    ],
)
def test_what_wakes_nobody_is_no_call_for_help(
    alarm: str, priority: Priority, text: str, said: str
) -> None:
    """News and light alarms reach the second phone as what they are."""
    line = second(text, alarm=alarm, priority=priority)
    assert line == f"Lapwing: {said} (21:00)"
