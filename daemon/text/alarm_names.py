"""What people call each alarm, and what each priority asks of them.

Ids and the trade's priority words are for programs: "low: carbon monoxide" reads as
little of it.
"""

from collections.abc import Mapping
from types import MappingProxyType

NAMES: Mapping[str, str] = MappingProxyType(
    {
        "o2-low": "too little oxygen",
        "o2-pressure": "too little oxygen for the height",
        "o2-projected": "oxygen soon too low",
        "o2-falling": "oxygen falling fast",
        "o2-high": "too much oxygen",
        "co-level": "carbon monoxide",
        "co-dose": "carbon monoxide in the blood",
        "co2-level": "carbon dioxide",
        "co2-projected": "carbon dioxide soon too high",
        "gas-leak": "unburnt gas",
        "displaced-air": "unknown gas",
        "contact-smoke": "certified smoke alarm",
        "contact-gas": "certified gas alarm",
        "contact-co": "certified carbon monoxide alarm",
        "contact-bilge": "water in the bilge",
        "fine-dust": "smoke or dust",
        "condensing": "wet window",
        "cold": "cold at the bunk",
        "hot": "heat at the bunk",
        "supply-low": "battery low",
        "sensor-fault": "sensor failed",
        "sensor-stale": "sensor silent",
        "sensor-range": "impossible reading",
        "sensor-jump": "reading that jumped",
        "sensor-stuck": "sensor stuck",
        "sensor-implausible": "sensor in doubt",
        "sensor-warming": "sensor warming up or out of its range",
        "sensor-service": "sensor past its time",
        "sensors-disagree": "sensors that disagree",
        "gases-disagree": "gases that do not match",
        "stratified": "air in layers",
        "rule-broken": "rule that failed",
        "watch-fault": "monitor faulty",
    }
)
"""By the id of config/limits.toml, each to be said behind "the alarm for" too."""

URGENCY: Mapping[str, str] = MappingProxyType(
    {"high": "danger", "medium": "wake", "low": "note", "fault": "fault"}
)
"""What a priority asks: get out, wake, take note, or see to what failed."""


STATES: Mapping[str, str] = MappingProxyType(
    {
        "normal": "cleared",
        "unacknowledged": "active",
        "returned-unacknowledged": "over, not acknowledged",
        "latched-unacknowledged": "active until acknowledged",
        "latched-acknowledged": "acknowledged, kept active",
        "out-of-service": "out of service",
    }
)
"""By the state's word in log and MQTT; one that is not here is said as it is."""


def state_said(state: str) -> str:
    """Return what people call a state of an alarm."""
    return STATES.get(state, state)


def name_of_alarm(alarm: str) -> str:
    """Return what people call an alarm; one of a person's own by that one's word."""
    kind, _, subject = alarm.partition("/")
    name = NAMES.get(kind) or kind.replace("-", " ")
    return f"{name}, {subject}" if subject else name


def urgency(priority: str) -> str:
    """Return what a priority asks; a word that is not known stays."""
    return URGENCY.get(priority, priority)
