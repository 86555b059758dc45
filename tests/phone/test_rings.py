"""What goes to whom, and in which words: every case, without a clock."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from attrs import evolve

from cabinvigil.daemon.phone.inbound import TextHeard
from cabinvigil.daemon.phone.rings import (
    PhoneMessage,
    addressed,
    dead_text,
    is_quiet,
    next_after,
    retry_in_s,
    ring_of,
    silence_rings,
)
from cabinvigil.daemon.phone.settings import Recipient
from cabinvigil.daemon.phone.silence import SilenceNews
from tests.phone.texts import ENGLISH, TEXTS

WALL = datetime(2026, 1, 17, 2, 16, tzinfo=timezone(timedelta(hours=1)))
ANA = Recipient(name="Ana", address="json://localhost/a")
BEN = Recipient(name="Ben", address="json://localhost/b", second=True)
EVE = Recipient(name="Eve", address="json://localhost/c", from_="high")
ALL = (ANA, BEN, EVE)


def ring(
    urgency: int, *, second: bool | None = False, cabin: str = "lapwing"
) -> PhoneMessage:
    return PhoneMessage("1", cabin, "Lapwing", "Text.", urgency, 60.0, second)


@pytest.mark.parametrize(
    ("urgency", "second", "names"),
    [
        (5, False, ["Ana", "Eve"]),
        (4, False, ["Ana"]),
        (3, False, ["Ana"]),
        (1, False, ["Ana", "Eve"]),
        (5, True, ["Ben"]),
        (5, None, ["Ana", "Ben", "Eve"]),
    ],
)
def test_each_address_gets_what_it_asked_for(
    urgency: int, second: bool | None, names: list[str]
) -> None:
    assert addressed(ALL, ring(urgency, second=second)) == names


def test_what_wakes_people_goes_to_somebody_whatever_the_config_says() -> None:
    """All wait for `high`, or there is no second: a call for help is not dropped."""
    assert addressed((EVE,), ring(4)) == ["Eve"]
    assert addressed((ANA, EVE), ring(5, second=True)) == ["Ana", "Eve"]
    assert addressed((EVE,), ring(2)) == []


def test_an_address_may_be_for_some_cabins_alone() -> None:
    own = Recipient(name="Own", address="json://x/", cabins=("plover",))
    assert addressed((ANA, own), ring(5)) == ["Ana"]
    assert addressed((ANA, own), ring(5, cabin="plover")) == ["Ana", "Own"]
    assert addressed((ANA, own), ring(5, cabin="")) == ["Ana", "Own"], "about none"
    many = ring(5, cabin="lapwing curlew plover")
    assert addressed((ANA, own), many) == ["Ana", "Own"]
    assert addressed((ANA, own), ring(5, cabin="lapwing curlew")) == ["Ana"]


@pytest.mark.parametrize("urgency", [4, 5])
@pytest.mark.parametrize(
    ("cabin", "second", "names"),
    [
        ("plover", True, ["Ben"]),
        ("curlew", True, ["Ana"]),
        ("curlew", False, ["Ana"]),
        ("heron", True, ["Cy"]),
        ("heron", False, ["Cy"]),
        ("dotterel", True, ["Ben", "Cy"]),
        ("dotterel", False, ["Ana"]),
    ],
)
def test_a_cabins_dangers_go_to_its_own_addresses_while_it_has_one(
    urgency: int, cabin: str, second: bool, names: list[str]
) -> None:
    """First or second, of whatever priority; only one that has none goes to others."""
    ana = evolve(ANA, cabins=("plover", "curlew"), from_="high")
    ben = evolve(BEN, cabins=("plover",))
    cy = evolve(BEN, name="Cy", cabins=("heron",))
    assert addressed((ana, ben, cy), ring(urgency, second=second, cabin=cabin)) == names


def test_what_an_address_does_not_take_goes_to_its_cabins_others_first() -> None:
    ben, eve = evolve(BEN, cabins=("plover",)), evolve(EVE, cabins=("lapwing",))
    assert next_after((ANA, ben, eve), "Ana", ["Ana"], ["lapwing"]) == "Eve"
    assert next_after((ANA, ben, eve), "Ana", ["Ana"], ["plover"]) == "Ben"
    assert next_after((ANA, ben, eve), "Ana", ["Ana", "Eve"], ["lapwing"]) == "Ben"
    assert next_after((ANA, ben, eve), "Ana", ["Ana"], []) == "Ben", "about no cabin"


@pytest.mark.parametrize(
    ("span", "hour", "is_kept_back"),
    [
        ("22:00-07:00", 23, True), ("22:00-07:00", 3, True), ("22:00-07:00", 7, False),
        ("22:00-07:00", 12, False), ("12:00-13:00", 12, True),
        ("12:00-13:00", 13, False), ("12:00-12:00", 12, False),
    ],
)  # fmt: skip
def test_quiet_hours_hold_back_all_but_what_is_high(
    span: str, hour: int, is_kept_back: bool
) -> None:
    one = Recipient(name="Ana", address="json://x/", quiet=span)
    local = datetime(2026, 1, 17, hour, 0, tzinfo=UTC)
    assert is_quiet(one, 4, local) == is_kept_back
    assert not is_quiet(one, 5, local)
    assert not is_quiet(one, 4, None), "no clock, no quiet"


def test_the_next_address_is_one_that_has_not_had_it() -> None:
    assert next_after(ALL, "Ana", ["Ana"], ()) == "Ben"
    assert next_after(ALL, "Ana", ["Ana", "Ben"], ()) == "Eve"
    assert next_after(ALL, "Eve", ["Eve"], ()) == "Ana"
    assert next_after(ALL, "Eve", ["Ana", "Ben"], ()) is None
    assert next_after(ALL, "Gone", [], ()) == "Ana", "taken out of the config meanwhile"


def test_tries_are_spread_and_never_far_apart() -> None:
    waits = [retry_in_s(tries) for tries in range(1, 2000)]
    assert waits[:4] == [2.0, 4.0, 8.0, 16.0]
    assert max(waits) == 60.0


def test_a_text_of_the_watch_is_passed_on_unchanged() -> None:
    text = "Too little oxygen in 6\u00a0minutes: still 19.8\u00a0%. (02:13)"
    heard = TextHeard("lapwing", False, text, "o2-projected", 5, "id", 3600.0)
    assert ring_of(heard) == PhoneMessage(
        "id", "lapwing", "Lapwing", text, 5, 3600.0, False
    )


def silent(
    cabin: str, kind: str = "silent", cause: str = "", over: int = 5
) -> SilenceNews:
    urgency = {"stopped": 2, "back": 1, "rehearsed": 1}.get(kind, 5)
    return SilenceNews(cabin, kind, urgency, 880.0, cause, 480.0, over)


@pytest.mark.parametrize("count", [1, 9])
@pytest.mark.parametrize(
    ("over", "names"), [(5, ["Ana", "Ben", "Eve"]), (2, ["Ana", "Ben"])]
)
def test_that_it_is_over_is_told_to_whoever_was_told_of_it(
    count: int, over: int, names: list[str]
) -> None:
    """Eve hears of dangers alone: of a stop in order, then, neither begin nor end."""
    told = {5: "silent", 2: "stopped"}[over]
    for kind in (told, "back"):
        news = [silent(f"cabin-{n}", kind, over=over) for n in range(count)]
        (one,) = silence_rings(news, ENGLISH, 1000.0, WALL, "localhost:1883", "x")
        assert addressed(ALL, one) == names


def test_many_silent_at_once_are_told_to_whom_one_of_them_is() -> None:
    plover = evolve(ANA, cabins=("cabin-3",))
    curlew = evolve(BEN, cabins=("curlew",))
    news = [silent(f"cabin-{number}") for number in range(9)]
    (one,) = silence_rings(news, ENGLISH, 1000.0, WALL, "localhost:1883", "x")
    assert addressed((plover, curlew), one) == ["Ana"]


@pytest.mark.parametrize(
    ("news", "text"),
    [
        (silent("lapwing"),
         "Lapwing is silent since 02:14. It is not monitored. Call them."),
        (silent("lapwing", "again"),
         "Lapwing is still silent since 02:14. It is not monitored. Call them."),
        (silent("lapwing", "stopped"),
         "Lapwing was stopped on purpose, last heard at 02:14. It is not monitored."),
        (silent("lapwing", "back"),
         "Lapwing is monitored again, after 8 minutes of silence."),
        (silent("lapwing", "rehearsed"),
         "Lapwing: a rehearsal runs, its air is not real. It is not monitored."),
        (silent("lapwing", "back", over=2),
         "Lapwing is monitored again, after 8 minutes."),
        (silent("lapwing", cause="broker"),
         ("Lapwing is silent since 02:14. It is not monitored. Call them. "
         "(From here the "
          "broker at localhost:1883 is out of reach.)")),
    ],
)  # fmt: skip
def test_silence_is_told_in_its_own_words(news: SilenceNews, text: str) -> None:
    (one,) = silence_rings([news], ENGLISH, 1000.0, WALL, "localhost:1883", "x")
    assert (one.text, one.title, one.urgency) == (text, "Lapwing", news.urgency)
    assert one.is_second is None, "the cabin's own phone may be silent too"


def test_a_thousand_cabins_silent_at_once_are_one_text() -> None:
    news = [silent(f"cabin-{number}") for number in range(1000)]
    (one,) = silence_rings([*news], ENGLISH, 1000.0, WALL, "localhost:1883", "x")
    assert one.text.startswith("1000 cabins are silent: Cabin 0, Cabin 1, ")
    assert "and 988 more. They are not monitored. Call them." in one.text
    assert len(one.text) < 400


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("kind", ["silent", "again"])
def test_a_silence_in_a_danger_says_what_was_not_over(kind: str) -> None:
    """Else the danger would vanish behind "it is not monitored"."""
    danger = "Too little oxygen: 18.8 %. Get everyone outside now."
    news = SilenceNews("lapwing", kind, 5, 100.0, "lost")
    (told,) = silence_rings(
        [news], ENGLISH, 200.0, WALL, "there", "x", lambda _: danger
    )
    assert told.text.endswith(f"Not over when last heard: {danger}")
    (calm,) = silence_rings([news], ENGLISH, 200.0, WALL, "there", "x")
    assert "Not over" not in calm.text


DANGER = "Too little oxygen: 18.8 %. Get everyone outside now."


@pytest.mark.parametrize("language", TEXTS)
@pytest.mark.parametrize("kind", ["silent", "again", "stopped", "back", "rehearsed"])
@pytest.mark.parametrize("since_s", [None, 880.0])
@pytest.mark.parametrize("count", [1, 30])
def test_each_language_says_whatever_there_is_to_say(
    language: str, kind: str, since_s: float | None, count: int
) -> None:
    """Whole, in its own words, and short enough for who wakes by it."""
    is_silence = kind in ("silent", "again")
    for cause in ("", "broker", "bridge", "lost") if is_silence else ("",):
        news = [
            replace(silent(f"cabin-{n}", kind, cause), since_s=since_s)
            for n in range(count)
        ]
        (told,) = silence_rings(
            *(news, TEXTS[language], 1000.0, WALL, "there", "x"),
            lambda _: DANGER if is_silence else "",
        )
        assert not re.search(r"[{}]|None|  | \.", told.text)
        text = told.text.replace(DANGER, "")
        assert len(text.split(" (")[0]) <= (150 if count == 1 else 400)
        assert (DANGER in told.text) == (is_silence and count == 1)
        is_dated = since_s is not None and count == 1
        assert ("02:14" in text) == (is_dated and kind not in ("back", "rehearsed"))
        said = set(re.findall(r"[a-z]+", text.lower()))
        english = said & {"is", "are", "the", "of", "on", "purpose", "silent"}
        assert bool(english) == (language == "en")


@pytest.mark.parametrize("language", TEXTS)
def test_who_cannot_be_reached_is_told_in_each_language(language: str) -> None:
    texts = TEXTS[language]
    assert set(texts.forms) == set(ENGLISH.forms)
    assert "Ben" in (lost := dead_text(texts, "Ben", "timed out"))
    assert "(timed out)" in lost
    assert "Ben" in texts("reachable", name="Ben")
    assert "cabinvigil phone" in texts("test")
