"""From settings to outputs: sounder, light, log and phone, each on its own."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, Any

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import FaultSink, Output
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.outputs.mqtt.messages import Forms, Messages, Topics, run_of
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import GpioOut, open_gpio
from cabinvigil.daemon.outputs.signal.light import Light
from cabinvigil.daemon.outputs.signal.tone import is_tone_name, open_tone
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.values import BuzzerSettings, MqttSettings
from cabinvigil.daemon.settings.words import load_words

if TYPE_CHECKING:
    from cabinvigil.daemon.outputs.mqtt.output import Phone

Reply = Callable[[Mapping[str, Any]], None]
OnAsk = Callable[[Ask, Reply], None]
OpenLine = Callable[..., GpioOut]
"""`open_gpio`, or what stands in for it in tests."""

MB = 1_000_000


@dataclass(frozen=True)
class Outlets:
    """All outputs of one config."""

    buzzer: Buzzer | None
    phone: "Phone | None"
    all: tuple[Output, ...]
    """In the order in which they are offered commands: the sounder first."""

    def start(self) -> None:
        """Start them all."""
        for output in self.all:
            output.start()

    def stop(self, deadline_s: float) -> None:
        """Stop them all, the sounder last: it may still be needed."""
        for output in reversed(self.all):
            output.stop(deadline_s)


def _pause(for_s: float) -> None:
    Event().wait(for_s)


def _line_of(buzzer: BuzzerSettings, open_line: OpenLine) -> Callable[[], GpioOut]:
    if is_tone_name(buzzer.line):
        return lambda: open_tone(buzzer.line, buzzer.tone_hz or 520.0, pause=_pause)
    return lambda: open_line(
        buzzer.line, active_low=buzzer.active_low, sense=buzzer.sense_line or ""
    )


def make_buzzer(
    settings: Settings, clock: Clock, report: FaultSink, open_line: OpenLine
) -> Buzzer | None:
    """Make the buzzer; None where the config has none."""
    buzzer = settings.buzzer
    if buzzer is None:
        return None
    second = buzzer.second_line
    return Buzzer(
        _line_of(buzzer, open_line),
        clock,
        report,
        open_second=None if second is None else lambda: open_line(second),
    )


def broker_of(mqtt: MqttSettings, client_id: str) -> Broker:
    """Say where the broker is, and as whom we come."""
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


def _phone(
    settings: Settings,
    clock: Clock,
    report: FaultSink,
    on_ask: OnAsk,
    on_refused: Callable[[str], None],
) -> "Phone | None":
    mqtt = settings.mqtt
    if mqtt is None:
        return None
    # Not at the top: paho costs 12 MB, and a watch without a phone needs none of it.
    from cabinvigil.daemon.outputs.mqtt.output import Phone

    name = settings.cabin.name
    broker = broker_of(mqtt, f"cabinvigil-{name}")
    desk = Publisher(
        Messages(Topics(name), run_of(clock.wall()), forms=forms_of(settings)),
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
) -> Outlets:
    """Make every output that the config names.

    Args:
        settings: what is wanted.
        clock: for their own threads.
        report: takes their faults, from any thread.
        on_ask: takes asks from the phone side, from the phone's thread.
        on_refused: told of asks that were refused.
        open_line: takes a GPIO by name.
    """
    buzzer = make_buzzer(settings, clock, report, open_line)
    phone = _phone(settings, clock, report, on_ask, on_refused)
    outputs: list[Output] = [] if buzzer is None else [buzzer]
    light = settings.light
    if light is not None:
        outputs.append(
            Light(
                lambda: open_line(light.line, active_low=light.active_low),
                clock,
                report,
            )
        )
    nights = Nights(
        Path(settings.log.folder),
        keep_days=settings.log.keep_days,
        max_bytes=round(settings.log.max_mb * MB),
        packed=True,
    )
    outputs.append(Recorder(nights, clock, report))
    if phone is not None:
        outputs.append(phone)
    return Outlets(buzzer, phone, tuple(outputs))
