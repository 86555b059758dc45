"""One cabin's figures: against sources and the example, and nowhere told anew."""

import ast
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from cabinvigil.daemon.air import figures
from cabinvigil.daemon.air.atmosphere import OutsideAir
from cabinvigil.daemon.air.cabin import cabin_zone
from cabinvigil.daemon.air.moisture import INSIDE_RESISTANCE_M2K_W

DAEMON = Path(figures.__file__).parents[1]
BOX_M2 = 2 * (2.9 * 2.0 + 2.9 * 1.9 + 2.0 * 1.9)
"""The Lapwing's shell: 30.2 m2 around 11 m3."""


def packaged(name):
    return tomllib.loads(files("cabinvigil.config").joinpath(name).read_text("utf-8"))


def test_the_example_is_what_its_file_states():
    """Every number of config/cabin.toml's [cabin], and no other."""
    cabin = packaged("cabin.toml")["cabin"]
    assert (cabin.pop("name"), cabin.pop("fuel")) == ("lapwing", "propane")
    assert cabin == figures.EXAMPLE._asdict()


def test_fresh_air_is_the_same_wherever_it_is_told():
    """The limits' time before the watch, and how CO2 parts refuse stale air."""
    limits = packaged("limits.toml")["alarm"]
    assert limits["co2-level"]["before"] == figures.FRESH_CO2_PPM
    part = (DAEMON.parent / "drivers" / "kit" / "co2.py").read_text(encoding="utf-8")
    assert f"fresh outdoor air is about {figures.FRESH_CO2_PPM:.0f} ppm" in part


def test_fresh_carbon_dioxide_is_the_latest_years_mean():
    """check_values `co2_outdoor`: Mauna Loa in 2024, and the globe's mean (WMO)."""
    for mean_ppm in (424.61, 423.9):
        assert mean_ppm == pytest.approx(figures.FRESH_CO2_PPM, abs=1.5)


def test_fresh_oxygen_is_daltons():
    """20.95 % of dry air, less what the vapour of 15 °C and 70 % takes."""
    for hpa in (1013.25, 939.0):
        wet = OutsideAir(15.0, 70.0).mixture(hpa)
        assert 100 * wet.o2 == pytest.approx(figures.FRESH_O2_PCT, abs=0.025)


def test_the_shell_is_a_boxs():
    """2.9 x 2.0 x 1.9 m, and twice as long, wide and high: four times the shell."""
    assert figures.shell_m2(11.0) == pytest.approx(BOX_M2, rel=0.01)
    assert figures.shell_m2(88.0) == pytest.approx(4 * BOX_M2, rel=0.01)
    assert figures.glass_m2(11.0) == pytest.approx(1.2, abs=0.02)
    assert figures.heat_capacity_j_k(11.0) == pytest.approx(250e3, rel=0.01)


def test_walls_are_foam_with_frames():
    """ISO 6946 (from memory): 30 mm at 0.035 W/(m K), 0.13 inside and 0.04 outside."""
    foam = 1.0 / (INSIDE_RESISTANCE_M2K_W + 0.030 / 0.035 + 0.04)
    assert foam == pytest.approx(0.97, abs=0.01)
    assert pytest.approx(1.3 * foam, rel=0.02) == figures.WALL_U_W_M2K


@pytest.mark.parametrize(
    ("volume_m3", "w_k"), [(6.0, 26.4), (11.0, 39.6), (40.0, 93.6), (80.0, 148.6)]
)
def test_the_loss_grows_with_the_shell_and_not_with_the_air(volume_m3, w_k):
    """By hand: 1.25 through 96 % of the shell, 2.8 through the rest.

    On the mean 1.2 to 1.7 W/(m2 K), EN 1645-1's third and second level (from memory).
    """
    shell = 6.1 * volume_m3 ** (2 / 3)
    assert figures.wall_loss_w_k(volume_m3) == pytest.approx(w_k, abs=0.05)
    by_hand = shell * (0.96 * 1.25 + 0.04 * 2.8)
    assert figures.wall_loss_w_k(volume_m3) == pytest.approx(by_hand)
    assert 1.2 < figures.wall_loss_w_k(volume_m3) / shell < 1.7


def test_what_is_stated_stands():
    """Walls, pane and leak, 0 too; the walls' own part is what the panes leave."""
    assert figures.wall_loss_w_k(40.0, 70.0) == 70.0
    single = figures.wall_loss_w_k(11.0, stated_glass_w_m2k=5.8)
    assert single - figures.wall_loss_w_k(11.0) == pytest.approx(
        3.0 * figures.glass_m2(11.0)
    )
    assert figures.leak_per_h(0.0) == (0.0, 0.0, 0.0)
    assert figures.leak_per_h(0.5) == pytest.approx((0.3, 0.5, 0.8))
    assert figures.leak_per_h(None) == figures.LEAK_PER_H
    zone = cabin_zone(11.0, 939.0, wall_w_k=50.0, glass_u_w_m2k=5.8)
    assert zone.wall_w_k == 50.0
    assert sum(face.area_m2 * face.u_w_m2k for face in zone.surfaces) == pytest.approx(
        50.0
    )
    tight = cabin_zone(80.0, 939.0, wall_w_k=1.0)
    assert tight.surfaces[1].u_w_m2k == figures.LEAST_WALL_U_W_M2K


def test_walls_and_leak_of_the_example_go_with_its_volume():
    """Stated is stated; without any volume the example's; else nobody knows."""
    assert figures.stated_of_shell(50.0, 28.0, None) == 50.0
    assert figures.stated_of_shell(None, 28.0, None) == 28.0
    assert figures.stated_of_shell(None, 28.0, 40.0) is None
    assert figures.stated_of_shell(0.0, 0.15, None) == 0.0


def test_the_safe_side_and_the_likely_are_told_apart():
    """A plan counts with no wind and every berth taken; what was lies between."""
    assert figures.PLANNED_WIND_MPS < figures.LIKELY_WIND_MPS
    assert figures.PLANNED_PEOPLE > figures.LIKELY_PEOPLE
    low, middle, high = figures.LEAK_PER_H
    assert low < middle < high
    assert figures.EXAMPLE.wind_mps == figures.PLANNED_WIND_MPS


def numbers(tree):
    """Every number in a file but those below zero."""
    negative = {
        id(node.operand) for node in ast.walk(tree) if isinstance(node, ast.UnaryOp)
    }
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and type(node.value) in (int, float)
        and id(node) not in negative
    }


def test_no_other_file_has_a_fresh_carbon_dioxide_of_its_own():
    """420, 425 and 430 ppm stood in five places, and parted."""
    texts = {path: path.read_text("utf-8") for path in sorted(DAEMON.rglob("*.py"))}
    elsewhere = [
        str(path.relative_to(DAEMON))
        for path, text in texts.items()
        if path != Path(figures.__file__)
        and re.search(r"\b4(20|25|30)\b", text)
        and {420, 425, 430} & numbers(ast.parse(text))
    ]
    assert elsewhere == []


@pytest.mark.parametrize(
    "room", ["planning", "review", "rehearsal", "trend", "span", "commands"]
)
def test_no_room_states_a_figure_of_the_cabin_anew(room):
    """What is named in `air/figures.py` is assigned nowhere else."""
    ours = {
        name for name, value in vars(figures).items() if type(value) in (float, tuple)
    }
    assert "FRESH_CO2_PPM" in ours
    anew = [
        (str(path.relative_to(DAEMON)), target.id)
        for path in sorted((DAEMON / room).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name) and target.id in ours
    ]
    assert anew == []
