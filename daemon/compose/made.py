"""The series that no part gives, worked out from others that parts do."""

from collections.abc import Mapping

from cabinvigil.daemon.core.layout import Layout, SeriesSpec
from cabinvigil.daemon.settings.values import Cabin
from cabinvigil.drivers.kit.quantity import QUANTITIES, split_channel


def made_series(
    series: Mapping[str, SeriesSpec], cabin: Cabin
) -> dict[str, SeriesSpec]:
    """Return the oxygen partial pressures that no part gives where oxygen is measured.

    None where nothing tells the air's pressure: no part, and no height.
    """
    measured = Layout(series)
    if cabin.altitude_m is None and not measured.index("pressure_hpa"):
        return {}
    partial = QUANTITIES["o2_hpa"]
    made: dict[str, SeriesSpec] = {}
    for key, spec in series.items():
        channel = split_channel(key)
        if channel is None or channel[0].name != "o2_pct":
            continue
        if measured.index("o2_hpa", channel[1]):
            continue
        made_key = "o2_hpa" + key.removeprefix("o2_pct")
        made[made_key] = SeriesSpec(
            key=made_key,
            part=spec.part,
            title=spec.title,
            low=partial.low,
            high=partial.high,
            max_age_s=spec.max_age_s,
            made_of=key,
        )
    return made
