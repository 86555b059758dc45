"""What the driver of each kind must hear from the emulated part, and how nearly.

One line a kind: `python -m tests.tools.asked KIND` says where a new one lacks.
"""

from dataclasses import dataclass

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow


@dataclass(frozen=True)
class Truth:
    """One quantity of a kind, and how far its values may be from the true one."""

    quantity: str
    mean_within: float | None
    """Of the mean in steady air: the class of the part's own sheet (sensor notes);
    None: the kind has a test of its own for that."""
    each_within: float
    """Of each value while its wire fails and after: class, noise and lag."""
    sees: str = ""
    """The field of `AirNow`, where it has another name than the quantity."""
    has_check: bool = True
    """False: no check of its own against flipped bits, or one of 1 in 65536; what is
    delivered then is for the rules to judge (sensor notes 0.3)."""
    raw: float = 0.0
    """The part's own count in fresh air, where no field of `AirNow` tells it."""

    def true(self, air: AirNow) -> float:
        """Return what a perfect part would tell."""
        if self.raw:
            return self.raw
        value = getattr(air, self.sees or self.quantity)
        assert isinstance(value, float)
        return value


TRUTHS = {
    "bme280": Truth("pressure_hpa", 1.2, 5.0, has_check=False),
    "bmp280": Truth("pressure_hpa", 1.2, 5.0, has_check=False),
    "bmp390": Truth("pressure_hpa", 0.6, 5.0, has_check=False),
    "co_named_i2c": Truth("co_ppm", 8.0, 3.0),
    "co_named_line": Truth("co_ppm", 8.0, 3.0),
    "ds18b20": Truth("temp_c", 0.7, 1.5, sees="glass_c"),
    "frame9_co": Truth("co_ppm", 8.0, 3.0),
    "frame9_co2": Truth("co2_ppm", 130.0, 120.0),
    "frame9_gas": Truth("gas_lel_pct", 5.0, 3.0),
    "ina219": Truth("supply_v", 0.02, 0.5, has_check=False),
    "ina226": Truth("supply_v", 0.02, 0.5, has_check=False),
    "ina228": Truth("supply_v", 0.005, 0.5, has_check=False),
    "max17048": Truth("charge_pct", 3.0, 3.0, has_check=False),
    "modbus_co2": Truth("co2_ppm", 110.0, 120.0),
    "o2_optical_line": Truth("o2_pct", 0.75, 0.9),
    "pm_frame": Truth("pm2_5_ugm3", 12.0, 6.0, has_check=False),
    "pmsa003i": Truth("pm2_5_ugm3", 12.0, 6.0, has_check=False),
    "scd30": Truth("co2_ppm", 75.0, 120.0),
    "scd4x": Truth("co2_ppm", 115.0, 120.0),
    "sen6x": Truth("co2_ppm", 125.0, 120.0),
    "sgp41": Truth("voc_raw", None, 13000.0, raw=24000.0),
    "sht3x": Truth("rh_pct", 5.5, 8.0),
    "sht4x": Truth("rh_pct", 5.5, 8.0),
    "sps30": Truth("pm2_5_ugm3", 12.0, 6.0),
    "stcc4": Truth("co2_ppm", None, 160.0),
    "tmp117": Truth("temp_c", 0.2, 1.0, sees="glass_c", has_check=False),
}
ELSEWHERE = {
    # What the shared tests cannot fit: it has options, a span or a converter of its
    # own.  The file that tests its emulated part, beneath tests/.
    "co_cell_ads1115": "rehearsal/emulated/test_cells.py",
    "contact": "faults/rows.py",
    "frame9_o2": "rehearsal/emulated/test_frame9.py",
    "gas_bead_ads1115": "rehearsal/emulated/test_gas.py",
    "o2_amplified_ads1115": "rehearsal/emulated/test_known.py",
    "o2_cell_ads1115": "rehearsal/emulated/test_cells.py",
    "o2_key_register": "rehearsal/emulated/test_o2_key.py",
}
