"""Hostile asks, by MQTT and on the socket: no gas is silenced, nobody is locked out."""

import asyncio
import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import Air
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import Topics
from cabinvigil.daemon.outputs.mqtt.requests import Envelope, Reply, RequestGate
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.daemon.text.moments import utc_text
from tests.ask.test_socket import ask, served
from tests.fuzz.mangle import fuzz, mangled

WALL = datetime(2026, 1, 16, 23, tzinfo=UTC)
AT = "2026-01-16T23:00:00.000Z"
"""The moment of an ask; each goes out with that of its sending."""
SETUP = compose_settings(example(), renderer("en")).setup
GAS = {key: 400.0 for key in SETUP.layout.series if key.startswith("co_ppm")}
QUIET_AT_MOST_S = 300.0
"""An acknowledgement quiets for so long: `ack_s` of co-level in limits.toml."""
TICK_S = 10.0
ASKS = tuple(
    json.dumps(fields).encode()
    for fields in (
        {"ask": "acknowledge", "alarm": "co-level", "id": "7", "at": AT},
        {"ask": "acknowledge", "text": "Ana's phone", "at": AT},
        {"ask": "acknowledge"},
        {"ask": "shelve", "alarm": "co-level", "for_s": 3600, "at": AT},
        {"ask": "reset", "alarm": "co-level", "at": AT},
        {"ask": "out-of-service", "alarm": "co-level", "text": "cell is new"},
        {"ask": "mark", "text": "roof vent open 2 cm", "at": AT},
        {"ask": "test", "at": AT},
        {"ask": "status"},
    )
)
TOPICS = st.sampled_from(
    ("", "cabinvigil/lapwing/answer", "cabinvigil/lapwing/answer/7", "cabinvigil/#",
     "cabinvigil/lapwing/alarm/co-level", "$SYS/x", "\x00", "a" * 5000)
)  # fmt: skip


class Cabin:
    """A core in which CO stands, behind the gate that asks must pass."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.state: State = start(SETUP, 0.0)
        self.quiet_s = 0.0
        self.silent_s = 0.0
        self.is_retained = False
        self.answers: list[tuple[Mapping[str, Any], str]] = []
        self.refused: list[str] = []
        self.asked = RequestGate(Topics("lapwing"), self.on_ask, self.refused.append)
        self.live(30.0)
        assert self.state.sound.pattern == "temporal-four"

    def on_ask(self, ask: Ask, reply: Reply) -> None:
        if ask.act is not None:
            self.state, _ = step(self.state, ask.act, self.now_s)
        reply({"ok": True})

    def live(self, for_s: float) -> float:
        """Go on in the gas; give the longest that the sound was off on end."""
        longest_s, end_s = 0.0, self.now_s + for_s
        while self.now_s < end_s:
            self.now_s += TICK_S
            self.state, _ = step(self.state, Air(GAS), self.now_s)
            sounds = self.state.sound.pattern == "temporal-four"
            self.quiet_s = 0.0 if sounds else self.quiet_s + TICK_S
            self.silent_s += 0.0 if sounds else TICK_S
            longest_s = max(longest_s, self.quiet_s)
        return longest_s

    def hear(self, payload: bytes, topic: str, correlation: bytes) -> None:
        wall = WALL + timedelta(seconds=self.now_s)
        payload = payload.replace(AT.encode(), utc_text(wall).encode())
        envelope = Envelope(topic, correlation, is_retained=self.is_retained)
        self.asked.arrived(payload, envelope, Stamp(self.now_s, wall), self._answer)

    def _answer(self, body: Mapping[str, Any], topic: str, _correlation: bytes) -> None:
        json.dumps(body, allow_nan=False)
        self.answers.append((body, topic))


@fuzz(40)
@given(
    st.lists(
        st.tuples(st.one_of(mangled(ASKS, 2), st.sampled_from(ASKS)), TOPICS),
        min_size=1,
        max_size=6,
    )
)
def test_no_message_silences_gas_for_longer_than_its_limit(
    asks: Sequence[tuple[bytes, str]],
) -> None:
    """Whatever comes, CO sounds again, nothing leaves its topic, all is answerable."""
    cabin = Cabin()
    longest_s = 0.0
    for payload, topic in asks:
        cabin.hear(payload, topic, b"\x00\xff")
        longest_s = max(longest_s, cabin.live(20.0))
    longest_s = max(longest_s, cabin.live(2.0 * QUIET_AT_MOST_S))
    # From outside a stand is answered once, however many answers come.
    assert longest_s <= QUIET_AT_MOST_S + TICK_S
    assert cabin.silent_s <= QUIET_AT_MOST_S + TICK_S
    assert cabin.state.setup is SETUP
    assert any(
        one.stands and alarm.startswith("co-level")
        for alarm, one in cabin.state.standings.items()
    )
    for _, topic in cabin.answers:
        assert topic in ("", "cabinvigil/lapwing/answer", "cabinvigil/lapwing/answer/7")


@fuzz(20)
@given(st.lists(st.sampled_from(ASKS), min_size=1, max_size=6))
def test_nothing_that_was_retained_changes_a_sound(asks: Sequence[bytes]) -> None:
    """Though it be well formed and of this moment."""
    cabin = Cabin()
    cabin.is_retained = True
    for payload in asks:
        cabin.hear(payload, "", b"")
        cabin.live(20.0)
    assert cabin.silent_s == 0.0
    assert len(cabin.refused) == 1 or len(set(asks)) > 1


async def _call(path: Path, chunks: Sequence[bytes]) -> None:
    async with served(path) as watch:
        reader, writer = await asyncio.open_unix_connection(path, limit=1 << 20)
        try:
            for chunk in chunks:
                writer.write(chunk)
                await writer.drain()
            writer.write_eof()
            for line in (await reader.read()).splitlines():
                assert isinstance(json.loads(line), dict)
        except ConnectionError:
            pass  # it hung up on what it would not even read
        writer.close()
        with suppress(ConnectionError):
            await writer.wait_closed()
        watch.clock.now_s += 3600.0  # whoever asks in peace, later, is answered
        assert (await ask(path, ask="status"))["ok"] is True


@fuzz(30)
@given(
    st.lists(
        st.one_of(mangled(tuple(a + b"\n" for a in ASKS)), st.binary()), max_size=8
    )
)
def test_no_caller_locks_the_socket(tmp_path: Path, chunks: Sequence[bytes]) -> None:
    """Bytes in any chunks get an answer a line or an end; the next caller is served."""
    asyncio.run(_call(tmp_path / "ask", chunks))
