"""Run the tests that touch a library with its oldest and its newest allowed version.

    python tests/tools/oldest_newest.py            both, for all run-time dependencies
    python tests/tools/oldest_newest.py below [NAME...]
                                             and the version before each lower bound,
                                             which must fail, or the bound is too high:
                                             then which is the oldest that passes

Each set gets an environment of its own, under build/versions; the versions come from
pyproject.toml and from pip's index.  Needs the standard library alone.
"""

import re
import subprocess
import sys
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).parents[2]
WHERE = ROOT / "build" / "versions"
TOOLS = ("pytest", "pytest-asyncio", "pytest-randomly", "pytest-timeout")
BESIDE = ("fastjsonschema", "hypothesis", "jsonschema", "pyyaml", "scipy")
"""What these tests themselves import."""
TESTS = {
    "attrs": ("tests/settings", "tests/rules"),
    "gpiod": ("tests/outputs/signal/test_gpio.py",),
    "matplotlib": ("tests/commands/test_plan.py",),
    "paho-mqtt": ("tests/outputs/mqtt", "tests/service/test_process.py"),
    "pyserial": (
        "tests/sampling/test_buses_serial.py",
        "tests/sampling/test_stream_sampler.py",
    ),
    "rich": ("tests/report/test_live_view.py", "tests/report/test_compare_text.py"),
    "smbus2": ("tests/sampling/test_buses_i2c.py",),
    "structlog": ("tests/log/test_writer.py", "tests/log/test_lines.py"),
    "tomli": ("tests/settings/test_read.py", "tests/commands/test_config.py"),
}
"""By library: the tests of the file that imports it, and of what leans on that."""

BOOKWORM = {
    "pyserial": "3.5",
    "rich": "13.3.1",
    "smbus2": "0.4.2",
    "structlog": "22.3.0",
}
"""Debian bookworm's own versions: the oldest system that we install on, so nobody needs
an older one, though some would pass (structlog from 2016 does)."""


def bounds() -> dict[str, str]:
    """Give the lower bound of each run-time dependency, with `pi` and `review`."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    wanted = project["dependencies"] + extras["pi"] + extras["review"]
    found = {}
    for one in wanted:
        name, version = re.fullmatch(r"([\w.-]+)>=([\w.]+)", one).groups()
        found[name] = version
    return found


def pip(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Call an environment's pip."""
    return subprocess.run(
        [folder / "bin" / "python", "-m", "pip", "-q", *words],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip


def environment(name: str, *words: str) -> Path:
    """Make an environment with the package and the tests' tools.

    Raises:
        SystemExit: pip cannot, and says why.
    """
    folder = WHERE / name
    venv.create(folder, clear=True, with_pip=True)
    done = pip(folder, "install", *words, ".[pi,review]", *TOOLS, *BESIDE)
    if done.returncode:
        raise SystemExit(f"{name}: pip cannot install it:\n{done.stderr[-1500:]}")
    return folder


def versions(folder: Path, names: list[str]) -> dict[str, str]:
    """Give what is installed."""
    ask = "import sys; from importlib.metadata import version as v\n"
    ask += "print(*map(v, sys.argv[1:]))"
    done = subprocess.run(
        [folder / "bin" / "python", "-c", ask, *names],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return dict(zip(names, done.stdout.split(), strict=True))


def passes(folder: Path, tests: list[str]) -> tuple[bool, str]:
    """Run tests in an environment; give whether all pass, and what pytest said last.

    What warns still works, and an old library on a newer Python warns.
    """
    done = subprocess.run(
        [folder / "bin" / "python", "-m", "pytest", "-q", "-x", "-W", "default",
         "-p", "no:cacheprovider", *tests],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    lines = (done.stdout + done.stderr).strip().splitlines() or [""]
    failed = [line for line in lines if line.startswith("FAILED ")]
    return done.returncode == 0, "; ".join([*failed, lines[-1]])


def whole(name: str, *words: str) -> bool:
    """Run all the tests with one set of versions; print a line."""
    folder = environment(name, *words)
    tests = sorted({test for group in TESTS.values() for test in group})
    is_good, said = passes(folder, tests)
    found = " ".join(f"{n} {v}" for n, v in versions(folder, sorted(TESTS)).items())
    print(f"{'ok  ' if is_good else 'FAIL'} {name}: {found}: {said}", flush=True)
    return is_good


def before(folder: Path, name: str, bound: str) -> str | None:
    """Give the newest released version before a bound; None if there is none."""
    said = pip(folder, "-v", "index", "versions", name).stdout  # else -q empties it
    listed = re.search(r"Available versions: (.*)", said)
    older = [v for v in listed[1].split(", ") if numbers(v) < numbers(bound)]
    return max(older, key=numbers, default=None)


def numbers(version: str) -> tuple[int, ...]:
    """Give a version's numbers without closing zeros: 2.1 is 2.1.0."""
    found = [int(part) for part in re.findall(r"\d+", version)]
    while found and not found[-1]:
        found.pop()
    return tuple(found)


def tried(folder: Path, name: str, lower: dict[str, str]) -> tuple[bool, str]:
    """Install one set of versions and run that library's tests.

    With what pip would bring along: an older library may bring older ones, or newer.
    """
    wanted = [f"{each}=={at}" for each, at in lower.items()]
    done = pip(folder, "install", "-U", "--upgrade-strategy", "eager", *wanted)
    if done.returncode:
        return False, done.stderr.strip().splitlines()[-1]
    return passes(folder, list(TESTS[name]))


def is_tight(folder: Path, name: str, lower: dict[str, str]) -> bool:
    """Say whether the version before a bound fails; if not, walk on to the oldest."""
    oldest, said = lower[name], "nothing was released before"
    if numbers(oldest) == numbers(BOOKWORM.get(name, "")):
        print(f"ok   {name} {oldest}; that is Debian bookworm's own", flush=True)
        return True
    while (version := before(folder, name, oldest)) is not None:
        is_good, said = tried(folder, name, lower | {name: version})
        if not is_good:
            break
        oldest = version
    mark = "ok  " if oldest == lower[name] else f"FAIL, {oldest} would do:"
    print(f"{mark} {name} {lower[name]}; {version}: {said}", flush=True)
    return oldest == lower[name]


def main(words: list[str]) -> int:
    """Run what is asked for; give the exit code."""
    lower = bounds()
    if words and (words[0] != "below" or not set(words[1:]) <= set(lower)):
        print(__doc__, file=sys.stderr)
        return 2
    WHERE.mkdir(parents=True, exist_ok=True)
    pins = WHERE / "oldest.txt"
    pins.write_text("".join(f"{name}=={at}\n" for name, at in lower.items()))
    good = [
        whole("oldest", "-c", str(pins)),
        whole("newest", "--upgrade", "--upgrade-strategy", "eager"),
    ]
    if words[:1] == ["below"]:
        names = words[1:] or list(lower)
        good += [is_tight(WHERE / "oldest", name, lower) for name in names]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
