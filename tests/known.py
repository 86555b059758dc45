"""A small registry and three small rules, so that settings are tested by themselves."""

from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Literal

import attrs

from cabinvigil.daemon.core.validators import Finite
from cabinvigil.daemon.settings.config import Settings, check, load
from cabinvigil.daemon.settings.errors import Mistake
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.drivers.kit.steps import Gives, PartInfo

GIVES = Gives(0.1, 0.1, 1.0, 600.0, 1.0)


def _cell(options: Mapping[str, Any]) -> str:
    if options.get("span_mv", 11.0) <= 0:
        raise ValueError("span_mv is 0 or less; a cell gives 7 to 14 mV in air")
    return "cell"


PARTS = {
    "cell": PartInfo(
        name="cell",
        title="oxygen cell",
        bus="i2c",
        gives={"o2_pct": GIVES},
        make=_cell,
        interval_s=2.0,
        max_age_s=6.0,
        warm_up_s=60.0,
        address=0x48,
        addresses=(0x48, 0x49),
        needs=("pressure_hpa",),
        options={"span_mv": "output in fresh air, in mV"},
        service_years=2.0,
    ),
    "liner": PartInfo(
        name="liner",
        title="carbon monoxide module",
        bus="serial",
        gives={"co_ppm": GIVES},
        make=lambda options: "liner",
        interval_s=1.0,
        max_age_s=5.0,
        warm_up_s=30.0,
        says_what=lambda options: True,
    ),
    "thread": PartInfo(
        name="thread",
        title="pane thermometer",
        bus="file",
        gives={"temp_c": GIVES},
        make=lambda options: "thread",
        interval_s=10.0,
        max_age_s=30.0,
        warm_up_s=0.0,
    ),
    "baro": PartInfo(
        name="baro",
        title="pressure sensor",
        bus="i2c",
        gives={"pressure_hpa": GIVES, "temp_c": GIVES, "rh_pct": GIVES},
        make=lambda options: "baro",
        interval_s=10.0,
        max_age_s=30.0,
        warm_up_s=0.0,
        address=0x76,
        addresses=(0x76, 0x77),
    ),
}


@attrs.frozen
class Step:
    at: float = attrs.field(validator=Finite(laxer="lower"))
    priority: Literal["low", "medium", "high"] = "high"


@attrs.frozen
class LimitParams:
    quantity: str
    steps: list[Step]
    window_s: float = 60.0
    places: tuple[str, ...] = ()
    shares: Mapping[str, float] = attrs.field(factory=dict)
    place: str | None = None


class Positive(Finite):
    def __call__(self, _: Any, field: Any, value: float) -> None:
        if value <= 0:
            raise ValueError(f"{field.name} must be above 0")


@attrs.frozen
class DropParams:
    limit_per_h: float = attrs.field(default=3.0, validator=Positive(laxer="higher"))
    priority: Literal["low", "medium", "high"] = "medium"


def _judge(params: Any, history: Any, now: float) -> None:
    return None


RULES = {
    "limit": SimpleNamespace(Params=LimitParams, judge=_judge),
    "drop": SimpleNamespace(Params=DropParams, judge=_judge),
}

KNOWN = Registries(
    part_names=lambda: tuple(sorted(PARTS)),
    part=lambda name: PARTS[name],
    rule_names=lambda: tuple(sorted(RULES)),
    rule=lambda name: RULES[name],
)

LIMITS = """
[alarm.o2-low]
kind = "limit"
quantity = "o2_pct"
steps = [{ at = 19.5 }, { at = 18.0 }]
on_delay_s = 5.0
off_delay_s = 60.0
ack_s = 300.0
again_step = 0.5
shelve_s = 0.0
source = "29 CFR 1910.146(b)"
published = 19.5

[alarm.o2-falling]
kind = "drop"
limit_per_h = 3.0
suppressed_by = ["o2-low"]
source = "own choice"
"""

CABIN = """
[cabin]
name = "lapwing"
volume_m3 = 11
people = 2
burner_kw = 1.6
burner_low_kw = 0.8
fuel = "propane"

[watch]
tick_s = 1

[i2c.main]
device = "/dev/i2c-1"

[part.bunk-o2]
kind = "cell"
bus = "main"
pressure_from = "roof"
in_service = 2026-10-01
options = { span_mv = 11.2 }

[part.bunk-co]
kind = "liner"
port = "/dev/ttyUSB0"

[part.roof]
kind = "baro"
bus = "main"
address = 0x77

[part.pane]
kind = "thread"
path = "/sys/bus/w1/devices/28-1/w1_slave"
place = "glass"

[buzzer]
line = "GPIO17"
second_line = "GPIO27"

[light]
line = "GPIO23"

[button]
line = "GPIO24"

[log]
keep_days = 30

[mqtt]
host = "broker.example"
user = "lapwing"
password_file = "/etc/cabinvigil/mqtt-password"

[ask]
group = "cabinvigil"

[alarm.o2-falling]
limit_per_h = 2.0
"""


class Desk:
    """A folder with a cabin's file and a limits file, to be written and read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.limits = folder / "limits.toml"
        self.limits.write_text(LIMITS)
        self.cabin = folder / "cabin.toml"

    def load(self, text: str = CABIN) -> Settings:
        self.cabin.write_text(text)
        return load(self.cabin, packaged_limits=self.limits, known=KNOWN)

    def check(self, text: str | bytes) -> list[Mistake]:
        data = text.encode() if isinstance(text, str) else text
        self.cabin.write_bytes(data)
        return check(self.cabin, packaged_limits=self.limits, known=KNOWN)

    def only(self, text: str | bytes) -> Mistake:
        mistakes = self.check(text)
        assert len(mistakes) == 1, [str(one) for one in mistakes]
        return mistakes[0]


def swap(old: str, new: str, text: str = CABIN) -> str:
    assert text.count(old) == 1, old
    return text.replace(old, new)
