"""A scenario, drawn from a seed: what is watched, what fails, and what comes then."""

import grp
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.faults import (
    FILE_FAULTS,
    I2C_FAULTS,
    SERIAL_FAULTS,
    WHOLE_BUS,
)

I2C_PARTS = ("air", "baro")
SERIAL_PARTS = ("bunk-co", "door-co", "bunk-o2")
WAYS = {
    **dict.fromkeys(SERIAL_PARTS, tuple(sorted(SERIAL_FAULTS))),
    **dict.fromkeys(I2C_PARTS, tuple(sorted(I2C_FAULTS))),
    WHOLE_BUS: ("hold", "babble", "vanish", "drop"),
    "pane": (*sorted(FILE_FAULTS), "hang", "errs"),
    "adapter": ("hang", "errs"),
    **{f"{name}'s port": ("hang", "errs") for name in SERIAL_PARTS},
    "log disk": ("hang", "errs", "full"),
    "state disk": ("hang", "errs", "full"),
    "state file": ("garbled",),
    "broker": (
        *("gone", "deaf", "refuse", "drop", "mute", "nonsense", "flood"),
        *("hang", "lost"),
    ),
    "socket": ("flood", "hang"),
    "button": ("hang", "errs", "stuck", "flood"),
    "sounder": ("hang", "errs"),
    "second": ("hang", "errs"),
    "light": ("hang", "errs"),
    "sounder's proof": ("hang", "errs", "altered", "deaf"),
}
"""What may fail, and how: words of `rehearsal/faults.py` on the wires, `world.py`'s
elsewhere."""
DANGERS = {
    "co": AirNow(co_ppm=400.0),
    "o2": AirNow(o2_pct=16.5),
    "": AirNow(),
}
"""By what is dangerous: the air."""
LONGEST_S = 150.0
"""Of one trouble."""
DANGER_S = 150.0


@dataclass(frozen=True)
class Trouble:
    """Something fails for a while; has the shape of `rehearsal.faults.FaultSpan`."""

    part: str
    """A part, or another thing of `WAYS`."""
    fault: str
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Config:
    """What may differ between two reads of the config."""

    tick_s: float = 1.0
    air_s: float = 5.0
    has_pane: bool = True
    is_good: bool = True


@dataclass(frozen=True)
class Scenario:
    """All that is to happen."""

    seed: int
    troubles: tuple[Trouble, ...]
    reloads: tuple[tuple[float, Config], ...]
    danger: str
    danger_s: float
    """When it comes; it stays for `DANGER_S`."""
    stops: tuple[float, ...]
    """When each life of the process is told to stop; the last one ends the scenario."""
    has_second: bool
    has_two_co: bool
    has_broker: bool

    def air(self, now_s: float) -> AirNow:
        """Return what the parts hang in."""
        is_bad = self.danger_s <= now_s < self.danger_s + DANGER_S
        return DANGERS[self.danger if is_bad else ""]

    def on_wires(self) -> Sequence[Trouble]:
        """Return what the emulated wires do themselves."""
        parts = (*I2C_PARTS, *SERIAL_PARTS, WHOLE_BUS, "pane")
        return [
            one
            for one in self.troubles
            if one.part in parts and one.fault not in ("hang", "errs")
        ]


def draw(seed: int) -> Scenario:
    """Draw the scenario of a seed."""
    dice = Random(f"chaos {seed}")
    ends_s = dice.uniform(420.0, 700.0)
    stops = [ends_s]
    if dice.random() < 0.4:
        stops.insert(0, dice.uniform(60.0, ends_s - 120.0))
    has_second, has_two_co, has_broker = (dice.random() < 0.6 for _ in range(3))
    things = [
        one
        for one in WAYS
        if (has_second or one != "second")
        and (has_two_co or not one.startswith("door-co"))
        and (has_broker or one != "broker")
    ]
    troubles: list[Trouble] = []
    for _ in range(dice.randint(2, 8)):
        part = dice.choice(things)
        from_s = dice.uniform(0.0, ends_s)
        if dice.random() < 0.1:
            from_s = 0.0
        to_s = from_s + dice.uniform(2.0, LONGEST_S)
        if any(o.part == part and o.from_s <= to_s and from_s <= o.to_s + 5.0
               for o in troubles):  # fmt: skip
            continue
        troubles.append(Trouble(part, dice.choice(WAYS[part]), from_s, to_s))
    now, reloads = Config(), []
    for at_s in sorted(dice.uniform(5.0, ends_s) for _ in range(dice.randint(0, 4))):
        change = dice.choice(("nothing", "tick", "air", "pane", "bad"))
        if change == "tick":
            now = replace(now, tick_s=dice.choice((0.5, 1.0, 2.0)))
        elif change == "air":
            now = replace(now, air_s=dice.choice((3.0, 4.0, 5.0)))
        elif change == "pane":
            now = replace(now, has_pane=not now.has_pane)
        reloads.append((at_s, replace(now, is_good=change != "bad")))
    return Scenario(
        seed,
        tuple(sorted(troubles, key=lambda one: one.from_s)),
        tuple(reloads),
        dice.choice(("co", "co", "o2", "")),
        dice.uniform(5.0, ends_s - 60.0),
        tuple(stops),
        has_second,
        has_two_co,
        has_broker,
    )


TEXT = """
[cabin]
name = "lapwing"
[watch]
tick_s = {tick_s}
state_folder = "{folder}/state"
[i2c.main]
device = "/dev/i2c-1"
[part.bunk-o2]
kind = "o2_optical_line"
port = "{folder}/ports/bunk-o2"
[part.bunk-co]
kind = "frame9_co"
port = "{folder}/ports/bunk-co"
[part.air]
kind = "sht4x"
bus = "main"
interval_s = {air_s}
[part.baro]
kind = "bme280"
bus = "main"
[log]
folder = "{folder}/log"
[light]
line = "GPIO22"
[button]
line = "GPIO24"
[ask]
socket = "{folder}/ask"
group = "{group}"
[buzzer]
line = "GPIO17"
sense_line = "GPIO23"
"""
DOOR = '[part.door-co]\nkind = "frame9_co"\nport = "{folder}/ports/door-co"\n'
DOOR += 'place = "door"\n'
PANE = '[part.pane]\nkind = "ds18b20"\npath = "{folder}/w1_slave"\nplace = "glass"\n'
MQTT = '[mqtt]\nhost = "127.0.0.1"\nport = 1883\ntls = false\n'


def text_of(scenario: Scenario, config: Config, folder: Path) -> str:
    """Write a config."""
    text = TEXT + ('second_line = "GPIO27"\n' if scenario.has_second else "")
    text += DOOR if scenario.has_two_co else ""
    text += PANE if config.has_pane else ""
    text += MQTT if scenario.has_broker else ""
    group = grp.getgrgid(os.getgid()).gr_name
    text = text.format(
        folder=folder, group=group, tick_s=config.tick_s, air_s=config.air_s
    )
    return text if config.is_good else text + "[nonsense]\nvolume_ft3 = 3\n"
