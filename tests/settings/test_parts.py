"""What a part is said not to give: read, and refused where it makes no sense."""

from pathlib import Path

import pytest

from cabinvigil.daemon.settings.config import check, load

TEXT = """
[cabin]
name = "lapwing"
[part.bunk-o2]
kind = "o2_optical_line"
port = "/dev/serial0"
leave_out = {left}
"""


def _file(folder: Path, left: str) -> Path:
    path = folder / "cabin.toml"
    path.write_text(TEXT.format(left=left), encoding="utf-8")
    return path


def test_a_quantity_can_be_left_out(tmp_path: Path) -> None:
    """An optical part without a pressure cell."""
    settings = load(_file(tmp_path, '["pressure_hpa"]'))
    assert settings.parts["bunk-o2"].leave_out == ("pressure_hpa",)


@pytest.mark.parametrize(
    ("left", "key", "said"),
    [
        ('["co_ppm"]', "leave_out[0]", "does not give"),
        ('["o2_pct", "o2_hpa", "pressure_hpa"]', "leave_out", "all that the part"),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, left: str, key: str, said: str
) -> None:
    """With the part, the key and a mend."""
    (mistake,) = check(_file(tmp_path, left))
    assert mistake.key == f"part.bunk-o2.{key}"
    assert said in mistake.what
    assert mistake.mend
