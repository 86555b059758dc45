"""A contact's mistakes, each in one sentence with its remedy."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.vital import LOST_WAKES_S
from cabinvigil.daemon.settings.config import check, load
from cabinvigil.daemon.settings.contacts import OLDEST_S
from cabinvigil.daemon.settings.devices import DeviceFiles, device_mistakes
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers.kit.quantity import CONTACT_MEANS, GUARDS
from tests.core.scenario import Night

ROOT = Path(__file__).parents[2]
CABIN = """
[cabin]
name = "lapwing"
[i2c.main]
device = "/dev/i2c-1"
[part.co]
kind = "frame9_co"
port = "/dev/serial/by-path/x"
[part.smoke]
kind = "contact"
line = "GPIO5"
means = "smoke"
"""
WATCHED = 'bus = "main"\naddress = 0x48\n'
OTHER = '[part.door]\nkind = "contact"\nline = "GPIO6"\nmeans = "door"\n'


def mistakes(folder: Path, text: str) -> list[str]:
    file = folder / "cabin.toml"
    file.write_text(text, encoding="utf-8")
    return [f"{one.key}: {one.what}; {one.mend}" for one in check(file)]


def swapped(old: str, new: str, text: str = CABIN) -> str:
    assert text.count(old) == 1
    return text.replace(old, new)


@pytest.mark.parametrize("means", CONTACT_MEANS)
def test_each_thing_that_a_contact_can_tell_has_a_series(
    means: str, tmp_path: Path
) -> None:
    file = tmp_path / "cabin.toml"
    file.write_text(swapped('"smoke"', f'"{means}"'), encoding="utf-8")
    part = load(file).parts["smoke"]
    assert (part.means, part.line, part.active_low) == (means, "GPIO5", None)
    assert (part.interval_s, part.max_age_s, part.address) == (0.5, 5.0, None)


def test_what_guards_people_is_what_a_contact_can_mean_but_a_door() -> None:
    assert set(CONTACT_MEANS) - GUARDS == {"door"}


@pytest.mark.parametrize(
    "text",
    [
        CABIN,
        CABIN + WATCHED,
        CABIN + "active_low = false\n",
        CABIN + OTHER,
        # Two wires at two inputs of one converter.
        CABIN + WATCHED + OTHER + WATCHED + 'options = { pins = "1" }\n',
    ],
)
def test_what_is_right_is_taken(text: str, tmp_path: Path) -> None:
    assert mistakes(tmp_path, text) == []


PINS = "one of 0x48, 0x49, 0x4a, 0x4b"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            swapped('line = "GPIO5"\n', ""),
            'part.smoke.line: is missing; add `line = ` "GPIO5", by its name',
        ),
        (
            swapped('means = "smoke"\n', ""),
            (
                "part.smoke.means: is missing; say what it reports, like `means = "
                '"smoke"`'
                ": one of smoke, gas, co, door, bilge"
            ),
        ),
        (
            swapped('"smoke"\n', '"smok"\n'),
            (
                "part.smoke.means: is 'smok', which is not known; write `smoke` if "
                "that "
                "was meant; known: smoke, gas, co, door, bilge"
            ),
        ),
        (
            CABIN + 'port = "/dev/ttyS0"\n',
            "part.smoke.port: does not suit a contact; remove it and name `line`",
        ),
        (
            CABIN + 'place = "ceiling"\n',
            (
                "part.smoke.place: does not suit a contact; remove it: `means` says "
                "what "
                "the contact reports"
            ),
        ),
        (
            CABIN + "address = 0x48\n",
            (
                "part.smoke.address: is given without a bus; name the `bus` of the "
                "wire's "
                "converter, or remove it"
            ),
        ),
        (
            CABIN + 'bus = "main"\n',
            (
                "part.smoke.address: is missing; give that of the ADS1115 that "
                "reads the "
                f"wire: {PINS}"
            ),
        ),
        (
            CABIN + 'bus = "main"\naddress = 0x62\n',
            (
                "part.smoke.address: is 0x62, which no ADS1115 can have; give that of "
                "the "
                f"ADS1115 that reads the wire: {PINS}"
            ),
        ),
        (
            CABIN + 'bus = "maim"\naddress = 0x48\n',
            (
                "part.smoke.bus: names 'maim', which no [i2c] table has; write `main` "
                "if "
                'that was meant, or add [i2c.maim] with device = "/dev/i2c-1"'
            ),
        ),
        (
            CABIN + OTHER.replace("GPIO6", "GPIO5"),
            (
                "part.door.line: is 'GPIO5', which [part.smoke] has too; give each "
                "sensor its "
                "own"
            ),
        ),
        (
            CABIN + '[buzzer]\nline = "GPIO5"\n',
            (
                "part.smoke.line: is 'GPIO5', which buzzer.line has too; give each "
                "its own "
                "line"
            ),
        ),
        (
            CABIN + WATCHED + OTHER + WATCHED,
            (
                "part.door.options.pins: reads AIN0 of the converter at 0x48 on bus "
                "main, as [part.smoke] does; give each inputs of its own, as "
                'pins = "2-3", or another address'
            ),
        ),
        (
            CABIN + '[part.air]\nkind = "sht4x"\nbus = "main"\nmeans = "door"\n',
            (
                "part.air.means: does not suit a sht4x; remove it: only a contact "
                "has one"
            ),
        ),
        (
            CABIN + '[part.air]\nkind = "sht4x"\nbus = "main"\nactive_low = true\n',
            (
                "part.air.active_low: does not suit a sht4x; remove it: only a "
                "contact "
                "has one"
            ),
        ),
        (
            CABIN + '[part.air]\nkind = "sht4x"\nbus = "main"\nline = "GPIO6"\n',
            "part.air.line: does not suit a sht4x; remove it and name `bus`",
        ),
        (
            CABIN + 'leave_out = ["contact"]\n',
            (
                "part.smoke.leave_out: leaves out all that the sensor measures; "
                "remove the whole sensor from the config"
            ),
        ),
    ],
)
def test_each_mistake_is_told_in_one_sentence(
    text: str, said: str, tmp_path: Path
) -> None:
    assert mistakes(tmp_path, text) == [said]


@pytest.mark.hazard("silenced-by-config")
@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(CONTACT_MEANS), st.integers(1, 120), st.sampled_from([1.0, 10.0])
)
def test_a_contact_that_is_lost_wakes_within_a_minute_by_every_config_that_is_taken(
    means: str, max_age_s: int, tick_s: float
) -> None:
    """However little the key is told to guard, and whatever is accepted."""
    text = swapped('"smoke"', f'"{means}"') + f"max_age_s = {max_age_s}\n"
    with tempfile.TemporaryDirectory() as folder:
        said = mistakes(Path(folder), text + "accept_laxer = true\n")
        if max_age_s > OLDEST_S:
            (why,) = said
            assert why == (
                f"part.smoke.max_age_s: is {max_age_s}: a contact that is lost would "
                "be reported too late; give 20 or less; `accept_laxer` does not "
                "change that"
            )
            return
        assert said == []
        setup = compose_settings(load(Path(folder) / "cabin.toml"), renderer("en"))
    one = Night(setup.setup)
    key = f"contact_{means}"
    one.hold({key: 0.0, "co_ppm": 0.0}, 60.0, tick_s)
    lost_s = one.now
    one.hold({"co_ppm": 0.0}, LOST_WAKES_S, tick_s)
    standing = one.standing(f"sensor-stale/{key}")
    wanted = Priority.MEDIUM if means in GUARDS else Priority.FAULT
    assert (standing.priority, standing.sounds) == (wanted, True)
    assert standing.rang_s - lost_s <= LOST_WAKES_S


def test_resistors_that_cannot_be_told_apart_are_a_mistake(tmp_path: Path) -> None:
    options = "options = { rest_ohm = 4700.0 }\n"
    (said,) = mistakes(tmp_path, CABIN + options)
    assert said.startswith(
        "part.smoke.options: cannot be used (rest_ohm: 4700 and alarm_ohm 1000 are too"
    )


def test_a_cell_and_a_wire_share_a_converter_by_its_inputs(tmp_path: Path) -> None:
    cell = '[part.o2]\nkind = "o2_cell_ads1115"\nbus = "main"\naddress = 0x48\n'
    free = CABIN + WATCHED + cell + 'options = { pins = "2-3" }\n'
    assert mistakes(tmp_path, free) == []
    (said,) = mistakes(tmp_path, CABIN + WATCHED + cell)
    assert said.startswith("part.o2.options.pins: reads AIN0 of the converter at 0x48")
    two = cell + cell.replace("part.o2", "part.o2b")
    assert len(mistakes(tmp_path, CABIN + two)) == 1


# --- what cannot be weakened ----------------------------------------------------------


@pytest.mark.hazard("silenced-by-config")
@pytest.mark.parametrize("alarm", ["contact-smoke", "contact-gas", "contact-co"])
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("on_delay_s", "5.0"),
        ("ack_s", "900.0"),
        ("latch", "false"),
        ("again_step", "100.0"),
        ("shelve_s", "600.0"),
        ("suppressed_by", '["co-level"]'),
    ],
)
def test_a_certified_alarms_word_is_weakened_by_nobody(
    alarm: str, key: str, value: str, tmp_path: Path
) -> None:
    """Not even by who knows what he does: `accept_laxer` does not reach it."""
    table = f"[alarm.{alarm}]\n{key} = {value}\n"
    for accepted in ("", "accept_laxer = true\n"):
        (said,) = mistakes(tmp_path, CABIN + table + accepted)
        assert said.startswith(
            f"alarm.{alarm}: weakens a certified alarm's word: its {key}"
        )
        assert said.endswith("; no `accept_laxer` allows it")


def test_what_it_means_cannot_be_turned_into_another(tmp_path: Path) -> None:
    table = '[alarm.contact-co]\nmeans = "smoke"\naccept_laxer = true\n'
    (said,) = mistakes(tmp_path, CABIN + table)
    assert "its means is smoke, packaged co" in said


def test_stricter_is_free_and_so_is_the_sound(tmp_path: Path) -> None:
    table = '[alarm.contact-smoke]\nack_s = 60.0\nsound = "temporal-three"\n'
    assert mistakes(tmp_path, CABIN + table) == []


def test_the_sound_of_fire_is_refused_for_gas(tmp_path: Path) -> None:
    table = '[alarm.contact-co]\nsound = "temporal-three"\n'
    (said,) = mistakes(tmp_path, CABIN + table)
    assert "sound is temporal-three, which means fire, not co" in said


def test_a_floats_alarm_may_be_made_graver_and_with_consent_slower(
    tmp_path: Path,
) -> None:
    table = '[alarm.contact-bilge]\npriority = "high"\n'
    assert mistakes(tmp_path, CABIN + table) == []
    slow = "[alarm.contact-bilge]\non_delay_s = 30.0\n"
    assert "or set `accept_laxer = true`" in mistakes(tmp_path, CABIN + slow)[0]
    assert mistakes(tmp_path, CABIN + slow + "accept_laxer = true\n") == []


# --- the machine ----------------------------------------------------------------------


def test_a_contact_alone_needs_gpio_and_its_group(tmp_path: Path) -> None:
    file = tmp_path / "cabin.toml"
    file.write_text(CABIN, encoding="utf-8")
    machine = DeviceFiles(chips=list, group_id=lambda _name: None)
    found = {one.key: one.what for one in device_mistakes(load(file), "f", machine)}
    assert found["part.smoke.line"] == "needs GPIO, which this machine has not"


def test_a_limits_file_that_judges_it_by_another_rule_is_refused(
    tmp_path: Path,
) -> None:
    """In one sentence: a float's rule has none of its keys to be compared."""
    packaged = (ROOT / "config/limits.toml").read_text("utf-8")
    begin = packaged.index("[alarm.contact-smoke]")
    end = packaged.index("[cites.contact-smoke]")
    other = '[alarm.contact-smoke]\nkind = "bilge"\nsource = "own"\n\n'
    own = tmp_path / "own.toml"
    own.write_text(packaged[:begin] + other + packaged[end:], "utf-8")
    (said,) = mistakes(tmp_path, CABIN + '[watch]\nlimits = "own.toml"\n')
    assert said.startswith("alarm.contact-smoke: is judged by another rule")
