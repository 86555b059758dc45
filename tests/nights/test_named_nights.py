"""All nine named nights: what rings, what does not, and that logs replay."""

import pytest

from cabinvigil.daemon.core.model import Alert, Priority
from cabinvigil.daemon.core.notification import SECOND
from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.rehearsal.nights import ALARM_S, NIGHTS
from cabinvigil.daemon.replay.json_lines import spell
from cabinvigil.daemon.replay.replay import replay_log
from cabinvigil.daemon.settings.words import renderer
from tests.nights.played import HOURS, Played, play_night
from tests.tools.phone_texts import file_of, texts

TICK_S = 10.0
"""Of a played night."""
GAS = ("o2-", "co-", "co2-", "gas-", "displaced")


@pytest.fixture(
    scope="module",
    params=[
        # A night is played once, by one worker.
        pytest.param(name, marks=pytest.mark.xdist_group(name))
        for name in sorted(NIGHTS)
    ],
)
def night(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Played:
    """Each night is played once for all tests of this file."""
    folder = tmp_path_factory.mktemp(request.param)
    return play_night(request.param, folder, hours=HOURS[request.param])


def test_its_log_replays_to_the_same_transitions(night: Played) -> None:
    """Tick for tick, word for word: the log is all that was decided on."""
    replayed = [
        line
        for time_s, commands in replay_log(
            Logbook(night.log), None, renderer("en"), night.log
        )
        for command in commands
        if (line := spell(command, time_s, estimates=False)) is not None
    ]
    assert replayed == night.alarms


def test_the_phones_are_sent_these_texts(night: Played) -> None:
    """Word for word; and never four to one phone in ten minutes, but for dangers."""
    sent = texts(night)
    assert sent == file_of(night.name).read_text(encoding="utf-8")
    for phone in (True, False):
        softer_s = [
            at_s
            for at_s, one in night.commands
            if isinstance(one, Alert)
            and (one.escalation == SECOND) is phone
            and one.priority is not Priority.HIGH
        ]
        assert all(b - a > 600.0 for a, b in zip(softer_s, softer_s[3:], strict=False))


def test_it_lasts_its_hours_with_its_truth_told(night: Played) -> None:
    """The cabin's own truth once a minute, to the end."""
    assert len(night.truths) == pytest.approx(HOURS[night.name] * 60, abs=2)


def test_what_it_is_for(night: Played) -> None:
    """Each night rings what its story asks for, and `quiet` nothing at all."""
    gas = [ring for start in GAS for ring in night.rings(start)]
    match night.name:
        case "quiet":
            assert night.alarms == []
        case "shut" | "icing":
            crossed = night.crossing_s(19.5)
            assert crossed is not None
            assert min(ring["time_s"] for ring in night.rings("o2-")) < crossed
        case "sooty":
            first = night.rings("co-")[0]
            true_ppm = {round(t.time_s): t.co_ppm for t in night.truths}
            at = min(true_ppm, key=lambda s: abs(s - first["time_s"]))
            assert true_ppm[at] < 70.0
            assert any(line["priority"] == "high" for line in night.alarms)
        case "leak":
            assert night.rings("displaced-air")
            leak_s = 3.0 * 3600.0
            assert all(ring["time_s"] > leak_s for ring in night.rings("displaced-air"))
        case "failing":
            told = " ".join(line["text"] for line in night.alarms)
            for part in ("bunk-o2", "bunk-co2", "bunk-air", "bunk-co", "baro", "main"):
                assert part in told
            assert not gas
        case "flat":
            assert night.rings("supply-low")
            assert not gas
        case "crowded":
            assert night.rings("co2-level")
        case "alarm":
            (ring,) = night.rings("contact-co")
            assert ring["priority"] == "high"
            assert ALARM_S <= ring["time_s"] <= ALARM_S + TICK_S
            assert not gas
        case _:
            pytest.fail(f"a night without a test: {night.name}")
