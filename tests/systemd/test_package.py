"""The Debian package: what is in it, whose it is, what it asks for, that it runs."""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

TREE = Path(__file__).parents[2]
PYTHON = "usr/lib/python3/dist-packages"
DEBIANS = {
    "attrs": "python3-attr", "gpiod": "python3-libgpiod", "pyserial": "python3-serial",
}  # fmt: skip
"""Debian's names, where they are not `python3-` and the name."""

if shutil.which("dpkg-deb") is None:
    pytest.skip("dpkg-deb is not on this machine", allow_module_level=True)


def build(out: Path) -> Path:
    subprocess.run(
        ["bash", str(TREE / "systemd/package.sh"), str(out)],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    (package,) = out.glob("*.deb")
    return package


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("package"))


@pytest.fixture(scope="module")
def root(package: Path) -> Path:
    """What it would put into /, and its control files below DEBIAN."""
    there = package.parent / "root"
    subprocess.run(["dpkg-deb", "-R", str(package), str(there)], check=True, timeout=60)
    return there


def field(root: Path, name: str) -> str:
    text = (root / "DEBIAN/control").read_text()
    (value,) = re.findall(rf"^{name}: (.*)", text, re.MULTILINE)
    return str(value)


def files(root: Path) -> set[str]:
    everything = (str(e.relative_to(root)) for e in root.rglob("*") if e.is_file())
    return {name for name in everything if not name.startswith("DEBIAN/")}


def test_two_builds_are_the_same_bytes(package: Path, tmp_path: Path) -> None:
    assert build(tmp_path).read_bytes() == package.read_bytes()
    project = tomllib.loads((TREE / "pyproject.toml").read_text())["project"]
    assert package.name == f"cabinvigil_{project['version']}-1_all.deb"


def test_it_holds_the_code_of_the_wheel_and_nothing_else(root: Path) -> None:
    """Each folder that pyproject.toml packs, with its data; no tests, no bytecode."""
    tool = tomllib.loads((TREE / "pyproject.toml").read_text())["tool"]["setuptools"]
    wanted = set()
    for name in tool["packages"]:
        folder = TREE / name.removeprefix("cabinvigil.").replace(".", "/")
        patterns = ["*.py", *tool["package-data"].get(name, [])]
        wanted |= {
            f"{PYTHON}/cabinvigil/{file.relative_to(TREE)}"
            for pattern in patterns
            for file in folder.glob(pattern)
        }
    code = {name for name in files(root) if name.startswith(f"{PYTHON}/cabinvigil/")}
    assert code == wanted


def test_beside_the_code_is_what_the_page_says(root: Path) -> None:
    version = field(root, "Version").removesuffix("-1")
    beside = {name for name in files(root) if f"{PYTHON}/cabinvigil/" not in name}
    broker = {
        f"usr/share/cabinvigil/broker/{file.name}"
        for file in (TREE / "systemd").glob("mosquitto-*")
    }
    assert len(broker) == 7
    assert beside == broker | {
        f"{PYTHON}/cabinvigil-{version}.dist-info/METADATA",
        "etc/default/cabinvigil-failed",
        "usr/bin/cabinvigil",
        "usr/lib/cabinvigil/failed-sound",
        "usr/lib/modules-load.d/cabinvigil.conf",
        "usr/lib/systemd/system/cabinvigil-bridge.service",
        "usr/lib/systemd/system/cabinvigil-failed.service",
        "usr/lib/systemd/system/cabinvigil-phone.service",
        "usr/lib/systemd/system/cabinvigil.service",
        "usr/lib/sysusers.d/cabinvigil-phone.conf",
        "usr/lib/sysusers.d/cabinvigil.conf",
        "usr/lib/tmpfiles.d/cabinvigil-phone.conf",
        "usr/lib/tmpfiles.d/cabinvigil.conf",
        "usr/lib/udev/rules.d/60-cabinvigil.rules",
        "usr/sbin/cabinvigil-broker-setup",
        "usr/share/bash-completion/completions/cabinvigil",
        "usr/share/doc/cabinvigil/README.md.gz",
        "usr/share/doc/cabinvigil/daemon/README.md.gz",
        "usr/share/doc/cabinvigil/changelog.Debian.gz",
        "usr/share/doc/cabinvigil/changelog.gz",
        "usr/share/doc/cabinvigil/copyright",
        "usr/share/doc/cabinvigil/examples/broker.conf",
        "usr/share/doc/cabinvigil/examples/phone.toml",
        "usr/share/doc/cabinvigil/examples/tone.conf",
        "usr/share/doc/cabinvigil/examples/watchdog.conf",
        "usr/share/doc/cabinvigil/hardware.md.gz",
        "usr/share/man/man1/cabinvigil.1.gz",
        "usr/share/man/man8/cabinvigil-broker-setup.8.gz",
    }
    # The config is no conffile: dpkg would ask about it at each newer example.
    conffiles = (root / "DEBIAN/conffiles").read_text().split()
    assert conffiles == sorted(f"/{e}" for e in beside if e.startswith("etc/"))


def test_all_is_roots_and_nobody_elses_to_write(package: Path) -> None:
    said = subprocess.run(
        ["dpkg-deb", "-c", str(package)],
        capture_output=True, text=True, check=True, timeout=60,
    ).stdout  # fmt: skip
    for line in said.splitlines():
        mode, owner, *_ = line.split()
        assert owner == "root/root", line
        assert mode in {"drwxr-xr-x", "-rw-r--r--", "-rwxr-xr-x"}, line


def test_it_suggests_what_the_phones_end_wants(root: Path) -> None:
    """Debian's own libraries of the extra `phone`, which the page has apt put in."""
    project = tomllib.loads((TREE / "pyproject.toml").read_text())["project"]
    wanted = {
        {"apprise": "apprise"}.get(name, f"python3-{name}")
        for name in (
            one.split(">=")[0] for one in project["optional-dependencies"]["phone"]
        )
    }
    assert wanted <= set(field(root, "Suggests").split(", "))
    page = (TREE / "hardware.md").read_text()
    (told,) = re.findall(r"^sudo apt-get install -y (apprise .*)$", page, re.MULTILINE)
    assert set(told.split()) == wanted


def test_it_asks_for_the_versions_of_pyproject(root: Path) -> None:
    project = tomllib.loads((TREE / "pyproject.toml").read_text())["project"]
    wanted = {"systemd", f"python3 ({project['requires-python'].replace('>=', '>= ')})"}
    for line in project["dependencies"] + project["optional-dependencies"]["pi"]:
        name, bound = line.split(">=")
        wanted.add(f"{DEBIANS.get(name, f'python3-{name}')} (>= {bound})")
    assert set(field(root, "Depends").split(", ")) == wanted


def test_the_units_start_what_is_in_it(root: Path) -> None:
    """No path of the environment, nor of a person's own files, is left."""
    for unit in (root / "usr/lib/systemd/system").iterdir():
        text = unit.read_text()
        assert "/opt/" not in text
        assert "/usr/local" not in text
        for program in re.findall(r"^ExecStart=-?(/\S+)", text, re.MULTILINE):
            if "mosquitto" not in program:
                assert os.access(root / program[1:], os.X_OK), program


def test_what_is_in_it_runs(root: Path, tmp_path: Path) -> None:
    """Alone: from an empty folder, without this checkout in Python's way."""
    for words in (
        ["--version"],
        ["config", str(root / PYTHON / "cabinvigil/config/cabin.toml")],
    ):
        done = subprocess.run(
            [sys.executable, str(root / "usr/bin/cabinvigil"), *words],
            env={"PATH": os.environ["PATH"], "PYTHONPATH": str(root / PYTHON),
                 "PYTHONDONTWRITEBYTECODE": "1"},
            cwd=tmp_path, capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert done.stdout


@pytest.mark.parametrize("script", ["postinst", "prerm", "postrm"])
def test_a_maintainers_script_is_sound_and_ends_the_whole_at_a_mistake(
    root: Path, script: str
) -> None:
    path = root / "DEBIAN" / script
    assert os.access(path, os.X_OK)
    assert "\nset -e\n" in path.read_text()
    subprocess.run(["sh", "-n", str(path)], check=True, timeout=60)
