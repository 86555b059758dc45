"""A short night for one row: the fault, gas while it lasts, and the part's return."""

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC
from pathlib import Path
from typing import Any

from cabinvigil.daemon.core.model import Alert, Command, Sound, Transition
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    Messages,
    Publication,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.cells import GalvanicO2Cell
from cabinvigil.daemon.rehearsal.emulated.known import AMPLIFIED_AIR_MV, GALVANIC
from cabinvigil.daemon.rehearsal.emulated_wires import SEED_STEP
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.rehearsal.play import Rehearsal, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers import part as find_part
from tests.faults.row import TICK_S
from tests.inline_phone import InlinePhone

SUSPECT = "suspect"
FAULT_AT_S = 40.0
"""Every part has spoken by then, and lines have settled (10 s after they opened)."""
GAS_AFTER_S = 4.0
GAS_S = 30.0
BACK_S = 75.0
"""A part that is well again is back within this, without a restart: the samplers'
longest wait of 30 s, its set-up, the fault's off-delay of 10 s, and for a bus 45 s."""
GAS = AirNow(co_ppm=290.0)

HEAD = f"""
[cabin]
name = "lapwing"
altitude_m = 640.0
volume_m3 = 11.0
[watch]
tick_s = {TICK_S}
[i2c.main]
device = "/dev/i2c-1"
[i2c.other]
device = "/dev/i2c-3"
[part.guard]
kind = "frame9_co"
port = "/dev/serial/by-path/usb-9"
[part.{SUSPECT}]
"""
BARO = '[part.baro]\nkind = "bme280"\nbus = "other"\n'
"""Corrects the suspect, and hangs on a bus of its own."""
WIRES = {
    "i2c": 'bus = "main"\n',
    "serial": 'port = "/dev/serial/by-path/usb-0"\n',
    "line": 'line = "GPIO5"\nmeans = "smoke"\nbus = "main"\naddress = 0x48\n',
    "file": 'path = "/sys/bus/w1/devices/28-1/w1_slave"\nplace = "glass"\n',
}
SEED = 1
SUSPECT_INDEX = 1
"""The suspect's place in the config, by which the stage seeds it."""


def options(kind: str) -> Mapping[str, float]:
    """Give the oxygen parts the span that they would have."""
    if kind in ("frame9_o2", "o2_key_register"):
        return {"air_hpa": 1013.25}  # as its maker set it, at the sea
    if kind not in GALVANIC:
        return {}
    now_s = [0.0]
    seed = SEED * SEED_STEP + SUSPECT_INDEX
    air = AirNow()
    if kind == "o2_amplified_ads1115":
        # The stage makes its cell of what the config says, give or take its spread.
        mv = AMPLIFIED_AIR_MV
        cell = GalvanicO2Cell(AirNow, seed, lambda: now_s[0], air_mv=mv)
        now_s[0] = GalvanicO2Cell.SETTLE_S
        air_hpa = air.pressure_hpa * mv / (cell.volts() * 1000.0)
        return {"air_mv": mv, "air_hpa": air_hpa, "air_o2_pct": air.o2_pct}
    cell = GalvanicO2Cell(AirNow, seed, lambda: now_s[0])
    now_s[0] = GalvanicO2Cell.SETTLE_S
    return {
        "air_mv": round(cell.volts() * 1000.0, 3),
        "air_hpa": air.pressure_hpa,
        "air_o2_pct": air.o2_pct,
    }


def settings(kind: str, folder: Path) -> Settings:
    """A cabin with the suspect, a CO module that guards, and what the suspect wants."""
    info = find_part(kind)
    text = HEAD + f'kind = "{kind}"\n' + WIRES[info.bus]
    baro = BARO if "pressure_hpa" in info.needs else ""
    if baro:
        text += 'pressure_from = "baro"\n'
    if kind == "stcc4":
        text += 'temperature_from = "baro"\nhumidity_from = "baro"\n'
    if chosen := options(kind):
        inner = ", ".join(f"{key} = {value}" for key, value in chosen.items())
        text += f"options = {{ {inner} }}\n"
    path = folder / "cabin.toml"
    path.write_text(text + baro, encoding="utf-8")
    return load(path)


@dataclass
class FaultyNight:
    """What a night gave."""

    fault_at_s: float
    gas_at_s: float
    well_at_s: float
    commands: list[tuple[float, Command]] = field(default_factory=list)
    phone: list[tuple[float, Publication]] = field(default_factory=list)
    """What a phone got, and when."""
    logged: list[LogLine] = field(default_factory=list)
    """What stands in the night's log."""
    watcher: Watcher | None = None

    def raised(self, *starts: str) -> list[tuple[float, Transition]]:
        """The moments at which alarms that begin so were raised, with what was told."""
        return [
            (at_s, one)
            for at_s, one in self.commands
            if isinstance(one, Transition)
            and one.alarm.startswith(starts)
            and one.state.value == "unacknowledged"
        ]

    def alerts(self, *starts: str) -> list[tuple[float, Alert]]:
        """What the phone was told of alarms that begin so."""
        return [
            (at_s, one)
            for at_s, one in self.commands
            if isinstance(one, Alert) and one.alarm.startswith(starts)
        ]

    def sounds(self) -> list[tuple[float, str]]:
        return [
            (at, one.pattern) for at, one in self.commands if isinstance(one, Sound)
        ]

    def stands(self, *starts: str) -> list[str]:
        """What stands at the night's end."""
        assert self.watcher is not None
        return [
            alarm
            for alarm, standing in self.watcher.state.standings.items()
            if alarm.startswith(starts)
            and (standing.stands or standing.priority_while_shelved)
        ]


class _Air:
    """Fresh air, but for the gas that comes while the fault lasts."""

    def __init__(self, from_s: float, to_s: float) -> None:
        self._from_s, self._to_s, self._now_s = from_s, to_s, 0.0

    def advance(self, to_s: float) -> None:
        self._now_s = to_s

    def air_now(self) -> AirNow:
        return GAS if self._from_s <= self._now_s < self._to_s else AirNow()

    def truth(self) -> Truth | None:
        return None


def play_fault(
    cabin: Settings,
    fault: str,
    told_within_s: float,
    part: str = SUSPECT,
    more: Sequence[Failure] = (),
    gas_s: float = GAS_S,
    fault_at_s: float = FAULT_AT_S,
) -> FaultyNight:
    """Play a night in which one part fails, gas comes while it does, and it is mended.

    Args:
        cabin: its settings.
        fault: a word of the rehearsal's faults.
        told_within_s: the fault lasts this long before the gas comes.
        part: which fails.
        more: what fails besides.
        gas_s: how long the gas stays.
        fault_at_s: when it fails.
    """
    gas_at_s = fault_at_s + told_within_s + GAS_AFTER_S
    well_at_s = gas_at_s + gas_s
    night = FaultyNight(fault_at_s, gas_at_s, well_at_s)

    def write(command: Command, time_s: float) -> None:
        night.commands.append((time_s, command))

    def deliver(publication: Publication, stamp: Stamp) -> None:
        night.phone.append((stamp.up_s, publication))

    def outputs(clock: Any, report: Any) -> list[Any]:
        nights = Nights(folder, keep_days=9, max_bytes=1 << 30, packed=True, zone=UTC)
        messages = Messages(Topics(cabin.cabin.name), run_of(clock.wall()), UTC)
        desk = Publisher(messages, heartbeat_s=30.0, readings_s=10.0)
        log = Recorder(nights, clock, report, inline=True)
        return [LineWriter(write), log, InlinePhone(desk, deliver)]

    rehearsal = Rehearsal(
        cabin,
        renderer("en"),
        _Air(gas_at_s, well_at_s),
        (well_at_s + BACK_S) / 3600.0,
        (Failure(fault_at_s, well_at_s, part, fault), *more),
        SEED,
    )
    with tempfile.TemporaryDirectory() as own:
        folder = Path(own)
        night.watcher = run_virtual(play(rehearsal, outputs))
        night.logged = [line for path in folder.iterdir() for line in Logbook(path)]
    return night
