"""The unit files: how closed they are, why each opening is there, the last sound."""

import grp
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "systemd"
OPENINGS = {
    "SupplementaryGroups", "StateDirectory", "LogsDirectory", "RuntimeDirectory",
    "RestrictAddressFamilies", "IPAddressAllow", "DeviceAllow", "OOMScoreAdjust",
    "ReadWritePaths", "ProtectKernelTunables=no",
}  # fmt: skip


TONE = "cabinvigil-tone"
"""The group of a PWM channel."""
UNITS = (
    "cabinvigil.service",
    "cabinvigil-failed.service",
    "cabinvigil-bridge.service",
    "cabinvigil-phone.service",
)


def lines(name: str) -> list[str]:
    return (ROOT / name).read_text().splitlines()


def needs(program: str) -> str:
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"{program} is not on this machine: the unit cannot be judged here")
    return found


@pytest.mark.parametrize(
    ("unit", "limit"),
    [
        ("cabinvigil.service", 1.5),
        ("cabinvigil-failed.service", 2.0),
        ("cabinvigil-bridge.service", 1.5),
        ("cabinvigil-phone.service", 1.5),
    ],
)
def test_the_units_exposure_is_within_its_limit(unit: str, limit: float) -> None:
    """systemd's own judgement, offline; a bare unit has 9.6."""
    said = subprocess.run(
        [needs("systemd-analyze"), "security", "--offline=yes", str(ROOT / unit)],
        capture_output=True, text=True, timeout=60,
    ).stdout  # fmt: skip
    (level,) = re.findall(r"exposure level for \S+: ([0-9.]+)", said)
    assert float(level) <= limit


@pytest.mark.parametrize("unit", UNITS)
def test_systemd_knows_every_word_of_the_units(tmp_path: Path, unit: str) -> None:
    """Nothing is ignored for a wrong name; only our programs are not here."""
    for name in UNITS:
        shutil.copy(ROOT / name, tmp_path)
    said = subprocess.run(
        [needs("systemd-analyze"), "verify", "--man=no", str(tmp_path / unit)],
        capture_output=True, text=True, timeout=60,
    ).stderr  # fmt: skip
    left = [each for each in said.splitlines() if "is not executable" not in each]
    assert [each for each in left if "cabinvigil" in each] == []


def test_the_watch_is_a_notify_service_that_always_comes_back() -> None:
    unit = lines("cabinvigil.service")
    for line in (
        "Type=notify", "WatchdogSec=15", "Restart=always", "RestartSec=1",
        "OnFailure=cabinvigil-failed.service", "CapabilityBoundingSet=",
    ):  # fmt: skip
        assert line in unit
    assert not [
        each for each in unit if each.startswith("After=") and "network" in each
    ]


@pytest.mark.parametrize(
    ("way", "lives_s"),
    [
        ("it dies as soon as it is started", 0.0),
        ("a bug ends it with its first ticks", 12.0),
        ("it hangs, and the watchdog ends it", 15.0 + 10.0),
        ("it never gets ready", 60.0 + 10.0),
    ],
)
def test_whatever_way_it_dies_in_the_last_sound_is_reached(
    way: str, lives_s: float
) -> None:
    """Six deaths lie within the limit's interval, restarts and stops counted in."""
    unit = dict(
        line.split("=", 1) for line in lines("cabinvigil.service") if "=" in line
    )
    assert float(unit["WatchdogSec"]) == 15.0
    assert (unit["TimeoutStartSec"], unit["TimeoutStopSec"]) == ("60", "10")
    six_s = float(unit["StartLimitBurst"]) * (lives_s + float(unit["RestartSec"]))
    assert six_s < float(unit["StartLimitIntervalSec"]), way


@pytest.mark.parametrize("name", [*UNITS, "broker.conf", "tone.conf"])
def test_every_line_that_opens_says_why(name: str) -> None:
    """Read upward from the line: a comment that begins with 'Opens'."""
    unit = lines(name)
    for number, line in enumerate(unit):
        key = line.split("=")[0]
        if key not in OPENINGS and line not in OPENINGS:
            continue
        above = number - 1
        while above >= 0 and not unit[above].startswith("# Opens:"):
            assert unit[above], f"{name}: '{line}' stands in a block without a reason"
            above -= 1
        assert above >= 0, f"{name}: '{line}' does not say why"


def test_what_the_daemon_needs_is_not_denied() -> None:
    """The user's groups are made by sysusers; its folders are those of the config."""
    groups = {
        line.split()[1] for line in lines("cabinvigil.sysusers") if line[:2] == "g "
    }
    (asked,) = [e for e in lines("cabinvigil.service") if e.startswith("Supplementary")]
    assert set(asked.split("=")[1].split()) == groups - {TONE}
    config = (ROOT.parent / "config" / "cabin.toml").read_text()
    for folder in ("/var/lib/cabinvigil", "/var/log/cabinvigil", "/run/cabinvigil"):
        assert folder in config
    state = "d /var/lib/cabinvigil 0750 cabinvigil cabinvigil -"
    assert state in lines("cabinvigil.tmpfiles"), "spans may come before the start"
    assert "StateDirectoryMode=0750" in lines("cabinvigil.service")


def test_a_tones_channel_has_a_group_of_its_own(tmp_path: Path) -> None:
    """Who is in `gpio`, as any program that blinks a light, cannot make it mute."""
    (rule,) = [e for e in lines("cabinvigil.rules") if e.startswith('SUBSYSTEM=="pwm"')]
    assert f"SupplementaryGroups={TONE}" in lines("tone.conf")
    members = [e.split()[1:] for e in lines("cabinvigil.sysusers") if e[:2] == "m "]
    assert [user for user, group in members if group == TONE] == ["cabinvigil"]
    channel = tmp_path / "pwmchip0" / "pwm0" / "duty_cycle"
    channel.parent.mkdir(parents=True)
    channel.touch(0o644)
    (command,) = re.findall(r"sh -c '(.*)'\"$", rule)
    ours = grp.getgrgid(os.getgid()).gr_name
    command = command.replace("/sys%p", str(tmp_path / "pwmchip0"))
    assert TONE in command
    subprocess.run(["sh", "-ec", command.replace(TONE, ours)], check=True)
    assert channel.stat().st_mode & 0o777 == 0o664
    assert channel.stat().st_gid == os.getgid()


def test_the_drivers_of_all_allowed_devices_are_loaded_before_the_unit() -> None:
    """Else the kind is unknown at its start, and an adapter plugged in later is shut.

    Seen in the guest (tests/guest): errno 1 on a /dev/ttyUSB0 that came later.
    """
    drivers = {
        "char-i2c": "i2c-dev", "char-ttyUSB": "usbserial", "char-ttyACM": "cdc-acm",
        # Built into the kernels of Raspberry Pi OS (from memory).
        "char-gpiochip": "", "char-ttyAMA": "", "char-ttyS": "",
    }  # fmt: skip
    unit = lines("cabinvigil.service")
    allowed = {e.split("=")[1].split()[0] for e in unit if e.startswith("DeviceAllow=")}
    assert allowed == set(drivers)
    loaded = {e for e in lines("cabinvigil.modules") if e and e[0] != "#"}
    assert loaded == set(drivers.values()) - {""}


# --- the last sound ------------------------------------------------------------------

FAKES = {
    "sleep": 'echo "sleep $*" >>"$CALLS"',
    "systemctl": (
        'echo "systemctl $*" >>"$CALLS"\n'
        'case "$*" in *ActiveState*)\n'
        '  n=$(grep -c ActiveState "$CALLS")\n'
        '  if [ "$n" -gt "${CHANGES_AFTER:-999}" ]; then echo "$LATER"\n'
        '  else echo "$STATE"; fi ;;\n'
        "esac"
    ),
    "gpiofind": '[ "$1" = GPIO17 ] && echo "gpiochip4 17"',
    "gpioset": (
        'case "$*" in --version) echo "$GPIOSET" ;;\n'
        '*) echo "gpioset $*" >>"$CALLS" ;;\nesac'
    ),
}
V1, V2 = "gpioset (libgpiod) v1.6.3", "gpioset (libgpiod) v2.2.1"


def sound(tmp_path: Path, without: str = "", **env: str) -> list[str]:
    """Run the script among stand-ins for its commands; return what it called."""
    tools = tmp_path / "bin"
    tools.mkdir(exist_ok=True)
    for name, body in FAKES.items():
        if name != without:
            (tools / name).write_text(f"#!/bin/sh\n{body}\n")
            (tools / name).chmod(0o755)
    for name in ("grep", "sh"):
        if not (tools / name).exists():
            (tools / name).symlink_to(shutil.which(name) or name)
    calls = tmp_path / "calls"
    calls.write_text("")
    given = {"STATE": "failed", "GPIOSET": V1, "BUZZER_LINE": "GPIO17"} | env
    done = subprocess.run(
        [shutil.which("sh") or "/bin/sh", str(ROOT / "failed-sound")],
        env={"PATH": str(tools), "CALLS": str(calls), **given},
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    (tmp_path / "said").write_text(done.stderr)
    return calls.read_text().splitlines()


def test_the_script_can_be_run() -> None:
    assert os.access(ROOT / "failed-sound", os.X_OK)


def test_it_sounds_bursts_for_a_minute_and_starts_the_watch_again(
    tmp_path: Path,
) -> None:
    """gpioset 1.6, Debian 12; its options as its own --help gives them."""
    calls = sound(tmp_path)
    pulses = [each for each in calls if each.startswith("gpioset")]
    assert len(pulses) == 10 * 3 * 2
    assert pulses[0] == "gpioset --mode=time --usec=200000 gpiochip4 17=1"
    assert pulses[1] == "gpioset --mode=time --usec=200000 gpiochip4 17=0"
    assert pulses[-1].endswith("17=0"), "it ends in silence"
    assert calls.count("sleep 5") == 10
    assert calls[-2:] == [
        "systemctl reset-failed cabinvigil.service",
        "systemctl --no-block start cabinvigil.service",
    ]


def test_the_newer_gpioset_is_spoken_to_in_its_own_words(tmp_path: Path) -> None:
    """gpioset 2, Debian 13: `--toggle` changes the level after each period, and ends
    at a last period of 0 (gpioset(1), and its source read): so it ends in silence."""
    calls = sound(tmp_path, GPIOSET=V2, BUZZER_ACTIVE_LOW="1")
    pulses = [each for each in calls if each.startswith("gpioset")]
    assert (
        pulses
        == [
            "gpioset --active-low --toggle 200ms,0 GPIO17=1",
            "gpioset --active-low --hold-period 200ms --toggle 0 GPIO17=0",
        ]
        * 30
    )


def test_a_sounder_on_pwm_is_heard_too(tmp_path: Path) -> None:
    """520 Hz at half duty, three pulses, and silence at the end."""
    channel = tmp_path / "pwm/pwmchip0/pwm0"
    channel.mkdir(parents=True)
    for name in ("enable", "period", "duty_cycle"):
        (channel / name).write_text("1")
    root = str(tmp_path / "pwm")
    calls = sound(tmp_path, BUZZER_LINE="pwmchip0/0", PWM_ROOT=root, without="gpioset")
    period_ns, duty_ns, enable = (
        (channel / name).read_text().strip()
        for name in ("period", "duty_cycle", "enable")
    )
    assert 1e9 / int(period_ns) == pytest.approx(520.0, rel=1e-3)
    assert int(duty_ns) * 2 == pytest.approx(int(period_ns), abs=2)
    assert enable == "0", "it ends in silence"
    assert calls.count("sleep 0.200") == 10 * 3 * 2
    assert calls[-1] == "systemctl --no-block start cabinvigil.service"


def test_a_pwm_channel_that_is_not_there_is_said(tmp_path: Path) -> None:
    """The watch is started again all the same."""
    (tmp_path / "pwm/pwmchip0").mkdir(parents=True)
    calls = sound(tmp_path, BUZZER_LINE="pwmchip0/0", PWM_ROOT=str(tmp_path / "pwm"))
    assert "no PWM channel pwmchip0/0" in (tmp_path / "said").read_text()
    assert calls[-1] == "systemctl --no-block start cabinvigil.service"


def test_its_burst_is_the_medical_standards_and_never_that_of_fire() -> None:
    """IEC 60601-1-8 medium: pulses and gaps of 125 to 250 ms, 2.5 to 30 s apart."""
    text = (ROOT / "failed-sound").read_text()
    (pulse,) = re.findall(r"^PULSE_MS=(\d+)", text, re.MULTILINE)
    (rest,) = re.findall(r"^REST_S=(\d+)", text, re.MULTILINE)
    assert 125 <= int(pulse) <= 250
    assert 2.5 <= int(rest) <= 30


@pytest.mark.parametrize("state", ["active", "activating", "inactive", "deactivating"])
def test_a_watch_that_is_not_failed_is_left_alone(tmp_path: Path, state: str) -> None:
    """Coming back by itself, or stopped by hand: no sound, no start."""
    calls = sound(tmp_path, STATE=state)
    assert calls == ["systemctl show --property=ActiveState --value cabinvigil.service"]


def test_a_watch_stopped_by_hand_meanwhile_stays_stopped(tmp_path: Path) -> None:
    calls = sound(tmp_path, CHANGES_AFTER="4", LATER="inactive")
    assert not [each for each in calls if "start" in each]
    assert len([each for each in calls if each.startswith("sleep")]) == 3


@pytest.mark.parametrize(
    ("change", "without", "word"),
    [
        ({"BUZZER_LINE": ""}, "", "BUZZER_LINE"),
        ({"BUZZER_LINE": "GPIO99"}, "", "GPIO99"),
        ({}, "gpioset", "apt-get install gpiod"),
    ],
)
def test_without_a_sound_the_watch_is_started_again_all_the_same(
    tmp_path: Path, change: dict[str, str], without: str, word: str
) -> None:
    """After the same minute, and with the reason in the journal."""
    calls = sound(tmp_path, without, **change)
    assert word in (tmp_path / "said").read_text()
    assert calls.count("sleep 5") == 10
    assert calls[-1] == "systemctl --no-block start cabinvigil.service"
