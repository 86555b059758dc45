"""`opt-install`: whole or not at all, nothing old left; with a stand-in for pip."""

import os
import re
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "systemd/opt-install"
PYTHON = """#!/bin/sh
[ "$1" = -c ] && exit 0
mkdir -p "$3/bin"
printf '#!/bin/sh\\necho "pip $*" >>"$CALLS"; exit "${PIP_RC:-0}"\\n' >"$3/bin/pip"
printf '#!/bin/sh\\n[ "$1" = config ] && exit "${CONFIG_RC:-0}"\\necho "$SAYS"\\n' \\
    >"$3/bin/cabinvigil"
chmod +x "$3/bin/pip" "$3/bin/cabinvigil"
"""
"""Makes an environment whose program says what the test wants."""


class Machine:
    def __init__(self, top: Path) -> None:
        self.opt = top / "opt"
        self.link = self.opt / "cabinvigil"
        self.calls = top / "calls"
        self.config = top / "cabin.toml"
        self.config.touch()
        self.python = top / "python"
        self.python.write_text(PYTHON)
        self.python.chmod(0o755)

    def run(self, *words: str, **env: str) -> tuple[int, str]:
        given = {
            "OPT": str(self.opt), "PYTHON": str(self.python), "SAYS": "cabinvigil 1",
            "CONFIG": str(self.config), "CALLS": str(self.calls),
        }  # fmt: skip
        done = subprocess.run(
            ["bash", str(SCRIPT), *words], env=os.environ | given | env,
            capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        return done.returncode, done.stdout + done.stderr

    def environments(self) -> list[str]:
        return sorted(e.name for e in self.opt.iterdir() if not e.is_symlink())


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


def test_an_upgrade_leaves_no_file_of_the_one_before(machine: Machine) -> None:
    """Also where the one before was put in by pip alone, without a link."""
    (machine.link / "bin").mkdir(parents=True)
    (machine.link / "a-rule-that-was-dropped.py").touch()
    assert machine.run()[0] == 0
    assert machine.link.is_symlink()
    assert (machine.link / "bin/cabinvigil").exists()
    assert not (machine.link / "a-rule-that-was-dropped.py").exists()
    assert machine.environments() == [machine.link.resolve().name]


def test_pip_is_given_a_copy_without_what_an_earlier_build_left(
    machine: Machine,
) -> None:
    """And the versions that were tried."""
    machine.run()
    (call,) = machine.calls.read_text().splitlines()
    assert f"-c {SCRIPT.parent}/constraints.txt" in call
    assert str(SCRIPT.parents[1]) not in call.split()[-1]
    assert call.endswith("/source[pi]")


@pytest.mark.parametrize(
    ("module", "extra"), [("apprise", "phone"), ("matplotlib", "review")]
)
def test_an_upgrade_keeps_the_extras_of_the_one_before(
    machine: Machine, module: str, extra: str
) -> None:
    """The phone's end on the same machine would else not start again."""
    machine.run()
    for env in ({}, {"EXTRA": f"pi,{extra}"}):
        package = machine.link / "lib/python3.11/site-packages" / module
        package.mkdir(parents=True)
        (package / "__init__.py").touch()
        machine.run(**env)
        call = machine.calls.read_text().splitlines()[-1]
        assert call.endswith(f"/source[pi,{extra}]")


@pytest.mark.parametrize(
    ("env", "words"),
    [
        ({"PIP_RC": "1"}, ()),
        ({"CONFIG_RC": "2"}, ()),
        ({}, ("no-such.whl",)),
    ],
)
def test_what_fails_changes_nothing(
    machine: Machine, env: dict[str, str], words: tuple[str, ...]
) -> None:
    """No network, a config that the new one does not take, no such wheel."""
    assert machine.run()[0] == 0
    before = machine.link.resolve()
    rc, _ = machine.run(*words, **env)
    assert rc != 0
    assert machine.link.resolve() == before
    assert machine.environments() == [before.name]


def test_a_removal_takes_all_of_it_and_leaves_the_config(machine: Machine) -> None:
    machine.run()
    rc, said = machine.run("--remove")
    assert rc == 0
    assert "stay" in said
    assert list(machine.opt.iterdir()) == []
    assert machine.config.exists()


def test_a_removal_takes_what_the_page_installs_beside_it(
    machine: Machine, tmp_path: Path
) -> None:
    """Units that start what is gone, and would hide those of the package."""
    page = (SCRIPT.parents[1] / "hardware.md").read_text()
    placed = set(
        re.findall(r"install -D -m \d+ (?:systemd|config/shell)/\S+ (/\S+)", page)
    )
    placed.remove("/etc/systemd/system.conf.d/watchdog.conf")
    assert len(placed) >= 13
    top = tmp_path / "root"
    for place in placed:
        (top / place[1:]).parent.mkdir(parents=True, exist_ok=True)
        (top / place[1:]).touch()
    machine.run()
    assert machine.run("--remove", DESTDIR=str(top))[0] == 0
    assert [path for path in top.rglob("*") if path.is_file()] == []
    for unit in ("cabinvigil", "cabinvigil-phone"):
        (top / f"etc/systemd/system/{unit}.service").touch()
        machine.run("--remove", DESTDIR=str(top))
        assert [path for path in top.rglob("*") if path.is_file()] == []
    drop_in = top / "etc/systemd/system/cabinvigil.service.d/broker.conf"
    drop_in.touch()
    machine.run("--remove", DESTDIR=str(top))
    assert drop_in.exists(), "beside the package's own unit"
