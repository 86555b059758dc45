"""SEN6x on a strict wire: each member's answer, what is unknown, what fails inside."""

from typing import Any

import pytest

from cabinvigil.drivers import sen6x
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CrcError,
    NotMeasuredError,
    NotReadyError,
    Transfer,
    WrongPartError,
)
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import play


def _say(code: str, rx_len: int = 0, delay_s: float = 0.02) -> Transfer:
    return Transfer(bytes.fromhex(code), rx_len, delay_s)


def _words(*values: int) -> bytes:
    return b"".join(with_crc(value & 0xFFFF) for value in values)


def _type(text: bytes) -> bytes:
    return _words(*(int.from_bytes(text[at : at + 2], "big") for at in (0, 2, 4, 6)))


STOP = (_say("0104", delay_s=1.4), b"")
GET_TYPE = _say("d002", 12)
GET_ASC, OFF, ON = _say("6711", 3), _words(0), _words(1)
SET_OFF = (_say("6711000081"), b"")
START = (_say("0021", delay_s=0.05), b"")
READY = (_say("0202", 3), _words(0x0001))
GET_STATUS = _say("d210", 6)
WELL = (GET_STATUS, _words(0, 0))
# Masses in tenths, humidity in hundredths, temperature in 1/200, indices in tenths.
AIR = (52, 80, 93, 98, 5480, 3300, 1040, 10, 1523)
TYPES = {
    "SEN63C": b"00085700",
    "SEN65": b"00085200",
    "SEN66": b"00085300",
    "SEN68": b"00085400",
}
"""As the maker's drivers list them."""
READS = {"SEN63C": "0471", "SEN65": "0446", "SEN66": "0300", "SEN68": "0467"}
ANSWERS = {
    "SEN63C": (*AIR[:6], 1523),
    "SEN65": AIR[:8],
    "SEN66": AIR,
    "SEN68": (*AIR[:8], 150),
}


def _begin(model: str, *site: tuple[Transfer, bytes]) -> list[tuple[Transfer, bytes]]:
    has_co2 = model in ("SEN63C", "SEN66")
    asc = [(GET_ASC, OFF)] if has_co2 else []
    return [STOP, (GET_TYPE, _type(TYPES[model])), *asc, *site, START]


def _made(model: str = "SEN66", **options: Any) -> sen6x.Sen6x:
    part = sen6x.make({"model": model, **options})
    play(part.setup(), _begin(model))
    return part


def _read(*values: int, model: str = "SEN66") -> tuple[Transfer, bytes]:
    return _say(READS[model], 3 * len(values)), _words(*values)


@pytest.mark.parametrize("model", TYPES)
def test_each_member_gives_what_is_inside(model: str) -> None:
    """By its own command, and exactly what the config is told that it gives."""
    answer = _read(*ANSWERS[model], model=model)
    found = play(_made(model).poll(), [READY, WELL, answer])
    assert {s.quality for s in found} == {"good"}
    values = {s.quantity: s.value for s in found}
    want = {
        "pm2_5_ugm3": 8.0,
        "pm10_ugm3": 9.8,
        "rh_pct": 54.8,
        "temp_c": 16.5,
        "voc_index": 104.0,
        "nox_index": 1.0,
        "co2_ppm": 1523.0,
    }
    left_out = sen6x.leaves_out({"model": model})
    assert values == pytest.approx({k: v for k, v in want.items() if k not in left_out})
    assert left_out == {
        "SEN63C": {"voc_index", "nox_index"},
        "SEN65": {"co2_ppm"},
        "SEN66": set(),
        "SEN68": {"co2_ppm"},
    }.get(model)


def test_the_usual_member() -> None:
    """Without a word it is the one with everything; a wrong word is told by `make`."""
    assert sen6x.leaves_out({}) == sen6x.leaves_out({"model": "SEN60"}) == frozenset()
    play(sen6x.make({}).setup(), _begin("SEN66"))
    with pytest.raises(ValueError, match="model: 'SEN60' is none of SEN63C, SEN65"):
        sen6x.make({"model": "SEN60"})


def test_setup_switches_self_calibration_off() -> None:
    """On as delivered; the part keeps it through a loss of power."""
    begin = [STOP, (GET_TYPE, _type(TYPES["SEN66"]))]
    part = sen6x.make({})
    play(part.setup(), [*begin, (GET_ASC, ON), SET_OFF, (GET_ASC, OFF), START])
    with pytest.raises(CalibrationError, match="self-calibration stays on"):
        play(part.setup(), [*begin, (GET_ASC, ON), SET_OFF, (GET_ASC, ON)])


def test_setup_tells_the_height_where_there_is_co2() -> None:
    """640 m; a member without CO2 has no such command."""
    tell = (_say("6736" + _words(640).hex()), b"")
    play(sen6x.make({"altitude_m": 640}).setup(), _begin("SEN66", tell))
    other = sen6x.make({"altitude_m": 640, "model": "SEN65"})
    play(other.setup(), _begin("SEN65"))
    other.inform("pressure_hpa", 940.0)
    answer = _read(*ANSWERS["SEN65"], model="SEN65")
    play(other.poll(), [READY, WELL, answer])


def test_another_member_is_told_by_its_name() -> None:
    """And one that has no name is believed, as some firmware has none."""
    begin = [STOP, (GET_TYPE, _type(b"00085200"))]
    with pytest.raises(
        WrongPartError, match="it is a SEN65, and the config says SEN66"
    ):
        play(sen6x.make({}).setup(), begin)
    strange = [STOP, (GET_TYPE, _type(b"00085900"))]
    with pytest.raises(WrongPartError, match="of the type 3030303835393030, and"):
        play(sen6x.make({}).setup(), strange)
    nameless = [STOP, (GET_TYPE, _words(0, 0, 0, 0)), (GET_ASC, OFF), START]
    play(sen6x.make({}).setup(), nameless)


def test_pressure_is_told_in_any_state_and_anew_after_a_start() -> None:
    """987 hPa are 03db (their CRC 42: SCD4x v1.1, table 17)."""
    part = _made()
    part.inform("pressure_hpa", 987.2)
    tell = (_say("672003db42"), b"")
    play(part.poll(), [tell, READY, WELL, _read(*AIR)])
    play(part.poll(), [READY, WELL, _read(*AIR)])
    play(part.setup(), _begin("SEN66"))
    play(part.poll(), [tell, READY, WELL, _read(*AIR)])
    for hpa, ends in ((700.0, True), (1200.0, True), (699.9, False), (1200.1, False)):
        other = _made()
        other.inform("pressure_hpa", hpa)
        told = [(_say("6720" + _words(round(hpa)).hex()), b"")] if ends else []
        play(other.poll(), [*told, READY, WELL, _read(*AIR)])


def test_nothing_is_read_before_it_is_ready() -> None:
    """Only the last bit counts; the part repeats old values."""
    with pytest.raises(NotReadyError):
        play(_made().poll(), [(READY[0], _words(0xFFFE))])


def _found(*values: int, status: int = 0, model: str = "SEN66") -> dict[str, str]:
    reply = _read(*values, model=model)[1]
    member = sen6x.MEMBERS[model]
    found = sen6x.samples(sen6x.decode(reply, member), member, status)
    return {one.quantity: one.quality for one in found}


EACH = (
    "co2_ppm",
    "nox_index",
    "pm10_ugm3",
    "pm2_5_ugm3",
    "rh_pct",
    "temp_c",
    "voc_index",
)


@pytest.mark.parametrize(
    ("at", "unknown", "gone"),
    [
        (1, 0xFFFF, "pm2_5_ugm3"),
        (3, 0xFFFF, "pm10_ugm3"),
        (4, 0x7FFF, "rh_pct"),
        (5, 0x7FFF, "temp_c"),
        (6, 0x7FFF, "voc_index"),
        (7, 0x7FFF, "nox_index"),
        (8, 0xFFFF, "co2_ppm"),
        (6, 0, "voc_index"),
        (7, 9, "nox_index"),
    ],
)
def test_what_is_unknown_is_left_out(at: int, unknown: int, gone: str) -> None:
    """And so becomes stale, while the rest goes on."""
    values = list(AIR)
    values[at] = unknown
    found = _found(*values)
    assert sorted(found) == [name for name in EACH if name != gone]
    assert set(found.values()) == {"good"}


def test_the_other_members_unknown_co2() -> None:
    """The SEN63C says 7fff for its first 24 s; ffff would be a negative count of it."""
    assert "co2_ppm" not in _found(*AIR[:6], 0x7FFF, model="SEN63C")
    assert _found(*AIR[:6], 0x7FFE, model="SEN63C")["co2_ppm"] == "at-least"


def test_nothing_known_is_not_measured() -> None:
    """As while it does not run: all at their upper ends."""
    with pytest.raises(NotMeasuredError, match="none of its values"):
        _found(*[0xFFFF] * 4, *[0x7FFF] * 4, 0xFFFF)


@pytest.mark.parametrize(
    ("bit", "gone"),
    [
        (6, {"rh_pct", "temp_c"}),
        (7, {"voc_index", "nox_index"}),
        (9, {"co2_ppm"}),
        (11, {"pm2_5_ugm3", "pm10_ugm3"}),
        (12, {"co2_ppm"}),
        (5, set()),
        (8, set()),
        (10, set()),
    ],
)
def test_what_fails_inside_is_left_out(bit: int, gone: set[str]) -> None:
    """By the bits of its status; formaldehyde's is nobody's here."""
    found = _found(*AIR, status=1 << bit)
    assert set(found) == set(EACH) - gone
    # The humidity sensor corrects all others.
    assert set(found.values()) == {"outside-range" if bit == 6 else "good"}


def test_a_fan_that_stands_still_gives_nothing() -> None:
    """What is in the housing then is not the cabin's air."""
    with pytest.raises(NotMeasuredError, match="its fan is blocked: clean its inlet"):
        _found(*AIR, status=1 << 4)


def test_a_slow_fan_makes_the_dust_doubtful() -> None:
    """It counts another volume; gases do not mind."""
    found = _found(*AIR, status=1 << 21)
    doubted = {name for name, quality in found.items() if quality != "good"}
    assert doubted == {"pm2_5_ugm3", "pm10_ugm3"}
    for bit in (20, 22):
        assert set(_found(*AIR, status=1 << bit).values()) == {"good"}


def test_less_coarse_dust_than_fine_is_doubtful() -> None:
    """As where one of the words is wrong."""
    found = _found(52, 100, 93, 98, *AIR[4:])
    assert found["pm2_5_ugm3"] == found["pm10_ugm3"] == "outside-range"
    assert found["co2_ppm"] == "good"


def test_dust_beyond_all_dust_is_left_out() -> None:
    """3000 and 5000 ug/m3 are the most; from 1000 on it is 'this or more'."""
    assert "pm2_5_ugm3" not in _found(100, 30001, 40000, 40000, *AIR[4:])
    found = _found(100, 10000, 40000, 50001, *AIR[4:])
    assert found["pm2_5_ugm3"] == "at-least"
    assert "pm10_ugm3" not in found


def test_where_it_is_not_made_for() -> None:
    """Below -10 °C, and in the wet, where mist counts as dust as well."""
    cold = _found(*AIR[:5], -2001, *AIR[6:])
    assert set(cold.values()) == {"outside-range"}
    assert set(_found(*AIR[:5], -2000, *AIR[6:]).values()) == {"good"}
    wet = _found(*AIR[:4], 9001, *AIR[5:])
    assert set(wet.values()) == {"outside-range"}
    assert set(_found(*AIR[:4], 9000, *AIR[5:]).values()) == {"good"}
    # Where neither is known, nothing is doubted for it.
    none = _found(*AIR[:4], 0x7FFF, 0x7FFF, *AIR[6:])
    assert set(none.values()) == {"good"}


def test_full_scale() -> None:
    """40 000 ppm is that or more; and 0 ppm is no air."""
    assert _found(*AIR[:8], 40000)["co2_ppm"] == "at-least"
    assert _found(*AIR[:8], 39999)["co2_ppm"] == "good"
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        _found(*AIR[:8], 0)
    assert _found(*AIR[:6], 31999, model="SEN63C")["co2_ppm"] == "good"
    assert _found(*AIR[:6], 32000, model="SEN63C")["co2_ppm"] == "at-least"


def test_errors_never_repeat_a_value() -> None:
    """After a good value, a broken answer gives an error and nothing else."""
    part = _made()
    play(part.poll(), [READY, WELL, _read(*AIR)])
    broken = _read(*AIR)[1][:-1] + b"\0"
    with pytest.raises(CrcError):
        play(part.poll(), [READY, WELL, (_read(*AIR)[0], broken)])
    with pytest.raises(CrcError):
        play(part.poll(), [READY, (GET_STATUS, bytes(6))])


RECALIBRATE = _say("670701e0b4", 3, 0.5)


def test_forced_recalibration() -> None:
    """Target 480 ppm and an answer of 7fce make -50 ppm, as of the SCD4x inside."""
    script = [STOP, (RECALIBRATE, bytes.fromhex("7fce7b")), START]
    assert play(sen6x.recalibrate(480), script) == -50
    for answer, error in (("ffffac", CalibrationError), ("ffff00", CrcError)):
        with pytest.raises(error):
            play(
                sen6x.recalibrate(480),
                [STOP, (RECALIBRATE, bytes.fromhex(answer)), START],
            )
    for target in (399, 2001):
        with pytest.raises(CalibrationError, match="outside 400 to 2000 ppm"):
            play(sen6x.recalibrate(target), [])


@pytest.mark.parametrize(
    ("answer", "is_one"),
    [
        (_type(b"00085300"), True),
        (_type(b"00085900"), True),
        (_words(0, 0, 0, 0), True),
        (_type(b"00084300"), False),
        (_words(1, 0, 0, 0), False),
        (b"\xff" * 12, False),
        (b"", False),
    ],
)
def test_it_is_told_by_its_type(answer: bytes, is_one: bool) -> None:
    """Any member, whatever the config says, and none that is none."""
    assert play(sen6x.identify(), [(GET_TYPE, answer)]) is is_one
