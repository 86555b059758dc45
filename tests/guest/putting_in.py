"""Putting the watch in, by the blocks of hardware.md; and what it then reads."""

import re
import time
from pathlib import Path

from checking import CheckError, check, expect, until
from machine import CONFIG, UNIT, Pins, pid, run, shown, status

HOME = Path("/home/crew")
USB = Path("/sys/bus/usb/devices")


def page(heading: str) -> list[str]:
    """Give the shell blocks under a heading of hardware.md."""
    text = (HOME / "hardware.md").read_text(encoding="utf-8")
    part = re.split(r"^##+ ", text.split(f"# {heading}\n", 1)[1], flags=re.MULTILINE)[0]
    return re.findall(r"^```sh\n(.*?)^```$", part, re.DOTALL | re.MULTILINE)


def as_crew(commands: str) -> str:
    """Run a block of the page as the person does, in the folder of the copies."""
    return run(commands, user="crew", folder=str(HOME))


IS_PACKAGE = any(HOME.glob("dist/*.deb"))
"""Else the wheel was brought, for the environment under /opt."""


def python_of_it() -> str:
    """Give the Python that finds the watch's code."""
    return "/usr/bin/python3" if IS_PACKAGE else "/opt/cabinvigil/bin/python"


@check("the page's command installs it")
def _(pins: Pins) -> str:
    mark = "apt-get install -y ./dist/" if IS_PACKAGE else ".whl"
    (block,) = [block for block in page("Install") if mark in block]
    # A package is built where the clone is; here it has arrived already.
    as_crew("\n".join(line for line in block.splitlines() if mark in line))
    expect(shown("ActiveState") != "active", "installing has started it")
    program = "cabinvigil" if IS_PACKAGE else "/opt/cabinvigil/bin/cabinvigil"
    return run(f"{program} --version").strip()


@check("users, devices and units are in place")
def _(pins: Pins) -> str:
    how = "by the package"
    if not IS_PACKAGE:
        block = page("Users, devices, units")[0]
        as_crew(block)
        how = f"by {len(block.splitlines())} lines"
    expect(Path("/dev/i2c-1").stat().st_gid, "/dev/i2c-1 has no group of its own")
    run("id cabinvigil && systemctl cat cabinvigil cabinvigil-failed")
    return how


@check("the example is there, and the scan finds the parts on the real bus")
def _(pins: Pins) -> str:
    expect(CONFIG.is_file(), "installing has left no config to edit")
    scan, *_rest = page("First run")[0].splitlines()
    # Exit code 1: the example names a USB adapter and a 1-wire part that are not here.
    found = as_crew(f"{scan} || [ $? = 1 ]")
    kinds = {"bme280", "ina226", "scd4x", "sht4x"}
    expect(all(kind in found for kind in kinds), found[-600:])
    return " ".join(sorted(kinds))


@check("the edited config passes, with every device that exists")
def _(pins: Pins) -> str:
    text = CONFIG.read_text()
    for table in (r"\[part\.pane\]", r"\[mqtt\]"):  # neither is in this cabin
        text = re.sub(rf"^{table}\n(?:.+\n)*", "", text, flags=re.MULTILINE)
    # The example's adapter is in a Pi's socket; here there is one, whatever its path.
    text = re.sub(r'"/dev/serial/by-path/[^"]+"', '"/dev/ttyUSB0"', text)
    CONFIG.write_text(text)
    edited = page("First run")[0].splitlines()[2]
    try:
        return as_crew(edited).strip().splitlines()[0]
    except CheckError as error:  # the USB adapter comes later, and is told as missing
        expect("ttyUSB0" in str(error), error)
        return "all but ttyUSB0, which is not plugged in yet"


@check("the unit starts and says that it watches")
def _(pins: Pins) -> str:
    began_s = time.perf_counter()
    as_crew(page("First run")[1].splitlines()[0])
    expect(shown("ActiveState") == "active", shown("ActiveState"))
    took_s = time.perf_counter() - began_s
    expect(shown("StatusText") == "watching lapwing", shown("StatusText"))
    return f"ready after {took_s:.1f} s"


@check("it runs under its hardening")
def _(pins: Pins) -> str:
    said = run(f"systemd-analyze security {UNIT} --no-pager")
    level = float(re.findall(r"exposure level for \S+: ([0-9.]+)", said)[0])
    expect(level <= 1.5, level)
    status_of = Path(f"/proc/{pid()}/status").read_text()
    expect("Seccomp:\t2" in status_of, "no system-call filter")
    expect("CapEff:\t0000000000000000" in status_of, "it has capabilities")
    expect("NoNewPrivs:\t1" in status_of, "it may gain privileges")
    return f"exposure {level}"


@check("the parts on /dev/i2c-1 and on the board's port are read")
def _(pins: Pins) -> str:
    wanted = {
        "co2_ppm": (300.0, 600.0),
        "temp_c__bunk-air": (13.0, 17.0),
        "rh_pct__bunk-air": (65.0, 85.0),
        "pressure_hpa__baro": (930.0, 950.0),
        "supply_v": (12.4, 12.8),
        "o2_pct": (20.3, 21.0),
    }

    def read() -> dict[str, float]:
        got = status().get("readings", {})
        return got if set(wanted) <= set(got) else {}

    try:
        got, _took = until(read, 120, "all readings")
    except CheckError as error:
        raise CheckError(f"{error}; {status()}") from None
    for key, (low, high) in wanted.items():
        expect(low <= got[key] <= high, f"{key} reads {got[key]}")
    return ", ".join(f"{key} {got[key]}" for key in wanted)


def usb(*, plugged: bool) -> None:
    """Let the kernel see the USB adapter, or not."""
    (device,) = [each for each in USB.glob("*-*") if (each / "idProduct").is_file()
                 and (each / "idVendor").read_text().strip() == "0403"]  # fmt: skip
    (device / "authorized").write_text("1" if plugged else "0")


def monoxide() -> bool:
    """Say whether CO is read."""
    return "co_ppm" in status().get("readings", {})


@check("a USB adapter plugged in for the first time while it watches is read")
def _(pins: Pins) -> str:
    expect("bunk-co" in status().get("faults", {}), "its absence was not told")
    usb(plugged=True)
    _got, took_s = until(monoxide, 120, f"CO: {status().get('faults')}")
    return f"after {took_s:.1f} s"


@check("the adapter unplugged is told, and plugged in again it is read")
def _(pins: Pins) -> str:
    usb(plugged=False)
    _got, gone_s = until(lambda: "bunk-co" in status()["faults"], 60, "the fault")
    usb(plugged=True)
    _got, back_s = until(
        lambda: monoxide() and "bunk-co" not in status()["faults"], 120, "its end"
    )
    return f"told after {gone_s:.1f} s, read again after {back_s:.1f} s"
