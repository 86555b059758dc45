"""The registry's entry of each part, with the config's own times."""

from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers import part as find_part


def test_the_configs_own_times_go_before_the_registrys() -> None:
    parts = {
        "usual": PartSettings(kind="bme280"),
        "slow": PartSettings(kind="bme280", interval_s=30.0, max_age_s=90.0),
    }
    infos = part_infos(parts)
    assert infos["usual"] == find_part("bme280")
    assert (infos["slow"].interval_s, infos["slow"].max_age_s) == (30.0, 90.0)
    assert infos["slow"].gives == find_part("bme280").gives
