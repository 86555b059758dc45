"""Resolve the package for each Raspberry Pi OS with pip, and hold hardware.md to it.

    python tests/tools/wheels_for_a_pi.py

For Python 3.11 (bookworm) and 3.13 (trixie), 64 and 32 bit: which version comes, and
whether as pure Python, as a wheel for that processor, or as a source to be built.
Ends with 1 where the page's table says otherwise of a form; versions may be newer.
Needs pip's index, and the standard library alone.
"""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
PYTHONS = ("3.11", "3.13")
Found = dict[str, tuple[str, str]]
"""Version and form, by package."""
PLATFORMS = {
    "aarch64": ("manylinux2014_aarch64", "manylinux_2_28_aarch64", "linux_aarch64"),
    "armv7": ("manylinux2014_armv7l", "manylinux_2_31_armv7l", "linux_armv7l"),
}
"""The wheels that pip takes there: glibc is 2.36 in bookworm, 2.41 in trixie."""
FORMS = {"pure": "pure Python", "wheel": "wheel", "source": "source"}


def resolved(python: str, bits: str, wanted: list[str]) -> Found:
    """Give what comes; empty if something has no wheel there."""
    words = [f"--platform={one}" for one in PLATFORMS[bits]]
    done = subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--dry-run", "--report=-",
         "--ignore-installed", "--target=unused", "--only-binary=:all:",
         f"--python-version={python}", *words, *wanted],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        return {}
    found = {}
    for each in json.loads(done.stdout)["install"]:
        name = each["metadata"]["name"].replace("_", "-").lower()
        file = each["download_info"]["url"].rsplit("/", 1)[-1]
        form = "pure" if file.endswith("-none-any.whl") else "wheel"
        found[name] = (each["metadata"]["version"], form)
    return found


def forms(python: str, bits: str, wanted: list[str]) -> Found:
    """Give what comes; what has no wheel there comes as a source."""
    whole = resolved(python, bits, wanted)
    if whole:
        return whole
    found: Found = {}
    for one in wanted:
        name = re.split("[>=]", one)[0].lower()
        found |= resolved(python, bits, [one]) or {name: ("", "source")}
    return found


def table() -> dict[str, dict[str, str]]:
    """Give what the page says, by package and by bits."""
    page = (ROOT / "hardware.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\| ([\w-]+)(?:, by `\[pi\]`)? \| [\d.]+ \| ([^|]+) \| ([^|]+) \|$",
        page,
        re.MULTILINE,
    )
    return {
        name.replace("_", "-"): {"aarch64": wide, "armv7": narrow}
        for name, wide, narrow in rows
    }


def main() -> int:
    """Print a line for each package and machine; give the exit code."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["pi"]
    told, wrong = table(), 0
    for python in PYTHONS:
        for bits in PLATFORMS:
            for name, (version, form) in sorted(forms(python, bits, wanted).items()):
                said = told.get(name, {}).get(bits, "nothing")
                is_so = said.startswith(FORMS[form])
                wrong += not is_so
                mark = "ok  " if is_so else f"FAIL, the page says {said}:"
                print(f"{mark} {python} {bits:7} {name} {version} {FORMS[form]}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
