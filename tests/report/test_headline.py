"""The morning's first words."""

import pytest

from cabinvigil.daemon.report.headline import _apart
from cabinvigil.daemon.text.units_said import SI, US


@pytest.mark.parametrize(
    ("text", "si", "us"),
    [
        ("17 046 ppm, worse", "17 046 ppm, worse", "17,046 ppm, worse"),
        ("5912 ppm", "5912 ppm", "5,912 ppm"),
        ("30 ppm", "30 ppm", "30 ppm"),
    ],
)
def test_its_thousands_are_the_readers(text: str, si: str, us: str) -> None:
    assert (_apart(text, SI), _apart(text, US)) == (si, us)
