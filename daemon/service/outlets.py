"""From settings to outputs: sounder, light, log and phone, each on its own."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Act
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import FaultSink, Output
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import Forms, Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.signal.button import Button
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import EdgeLine, open_gpio
from cabinvigil.daemon.outputs.signal.light import Light
from cabinvigil.daemon.outputs.signal.sounder_wiring import (
    Hold,
    OpenLine,
    SounderWiring,
    unheld,
)
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.values import MqttSettings
from cabinvigil.daemon.settings.words import load_words
from cabinvigil.daemon.text.time_zones import zone_or_system

if TYPE_CHECKING:
    from cabinvigil.daemon.outputs.mqtt.output import Phone

Reply = Callable[[Mapping[str, Any]], None]
OnAsk = Callable[[Ask, Reply], None]

MB = 1_000_000


@dataclass(frozen=True)
class Outlets:
    """All outputs of one config."""

    buzzer: Buzzer | None
    light: Light | None
    phone: "Phone | None"
    all: tuple[Output, ...]
    """In the order in which they are offered commands: the sounder first."""

    def start(self) -> None:
        """Start them all."""
        for output in self.all:
            output.start()


def wiring_of(settings: Settings) -> SounderWiring | None:
    """Return the sounder's lines; None where the config has no buzzer."""
    buzzer = settings.buzzer
    if buzzer is None:
        return None
    return SounderWiring(
        buzzer.line,
        buzzer.active_low,
        buzzer.second_line,
        buzzer.sense_line,
        buzzer.tone_hz,
    )


def make_button(
    settings: Settings,
    clock: Clock,
    report: FaultSink,
    on_act: Callable[[Act], None],
    open_line: Callable[..., EdgeLine],
) -> Button | None:
    """Make the button; None where the config has none.

    Args:
        settings: what is wanted.
        clock: for its own thread.
        report: takes its faults, from that thread.
        on_act: takes what a press asks for, from that thread.
        open_line: takes a GPIO by name.
    """
    wanted = settings.button
    if wanted is None:
        return None
    line, active_low = wanted.line, wanted.active_low
    return Button(lambda: open_line(line, active_low=active_low), on_act, report, clock)


def broker_of(mqtt: MqttSettings, client_id: str) -> Broker:
    """Return where the broker is, and as whom we come."""
    return Broker(
        host=mqtt.host,
        port=mqtt.real_port,
        client_id=client_id,
        tls=mqtt.tls,
        ca_file=mqtt.ca_file or "",
        user=mqtt.user or "",
        password_file=mqtt.password_file or "",
        keepalive_s=mqtt.keepalive_s,
    )


def forms_of(settings: Settings) -> Forms:
    """Return how an alert begins and ends, in the language of its sentence."""
    words = load_words(settings.watch.language, settings.watch.words)
    return Forms(**words.phone)


def make_phone(
    settings: Settings,
    clock: Clock,
    report: FaultSink,
    on_ask: OnAsk,
    on_refused: Callable[[str], None],
    *,
    is_emulated: bool = False,
) -> "Phone | None":
    """Make the phone side; None where the config has none.

    Args:
        settings: what is wanted.
        clock: for its own thread.
        report: takes its faults, from any thread.
        on_ask: takes asks, from its thread.
        on_refused: told of asks that were refused.
        is_emulated: a rehearsal speaks: every message says so.
    """
    mqtt = settings.mqtt
    if mqtt is None:
        return None
    # Not at the top: paho costs 12 MB, and a monitor without a phone needs none of it.
    from cabinvigil.daemon.outputs.mqtt.output import Phone

    name = settings.cabin.name
    broker = broker_of(mqtt, f"cabinvigil-{name}")
    desk = Publisher(
        Messages(
            Topics(name),
            run_of(clock.wall()),
            zone_or_system(settings.cabin.zone),
            forms=forms_of(settings),
            is_emulated=is_emulated,
        ),
        heartbeat_s=mqtt.heartbeat_s,
        readings_s=mqtt.readings_s,
    )
    return Phone(broker, desk, clock, report, on_ask=on_ask, on_refused=on_refused)


def make_outlets(
    settings: Settings,
    clock: Clock,
    report: FaultSink,
    *,
    on_ask: OnAsk,
    on_refused: Callable[[str], None],
    open_line: OpenLine = open_gpio,
    buzzer: Buzzer | None = None,
    hold: Hold = unheld,
) -> Outlets:
    """Make every output that the config names.

    Args:
        settings: what is wanted.
        clock: for their own threads.
        report: takes their faults, from any thread.
        on_ask: takes asks from the phone side, from the phone's thread.
        on_refused: told of asks that were refused.
        open_line: takes a GPIO by name.
        buzzer: one that was made before all else.
        hold: put around what opens a line: who ends the monitor holds them all.
    """
    phone = make_phone(settings, clock, report, on_ask, on_refused)
    outputs: list[Output] = [] if buzzer is None else [buzzer]
    wanted, light = settings.light, None
    if wanted is not None:
        line, active_low = wanted.line, wanted.active_low
        light = Light(
            hold("light's line", lambda: open_line(line, active_low=active_low)),
            clock,
            report,
        )
        outputs.append(light)
    nights = Nights(
        Path(settings.log.folder),
        keep_days=settings.log.keep_days,
        max_bytes=round(settings.log.max_mb * MB),
        packed=True,
        zone=zone_or_system(settings.cabin.zone),
    )
    outputs.append(Recorder(nights, clock, report))
    if phone is not None:
        outputs.append(phone)
    return Outlets(buzzer, light, phone, tuple(outputs))
