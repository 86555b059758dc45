"""Before bed: whether each I2C bus is the one that the config means."""

from collections.abc import Iterator

from cabinvigil.daemon.precheck.findings import Finding
from cabinvigil.daemon.settings.bus_clashes import bus_clashes
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.config import Settings


def bus_findings(settings: Settings, names: I2cNames) -> Iterator[Finding]:
    """Report parts that answer for each other, and buses whose number may move.

    Args:
        settings: of the cabin.
        names: the machine's buses.
    """
    clashes = list(bus_clashes(settings.i2c, settings.parts, "", names))
    for one in clashes:
        yield Finding("buses", "bad", f"`{one.key}` {one.what}: {one.mend}")
    told = {one.key for one in clashes}
    for name, bus in settings.i2c.items():
        if f"i2c.{name}.device" in told or names.moves(bus.device) is None:
            continue
        text = (
            f"{bus.device} may be another bus's number after a restart: "
            f"{names.mend(bus.device)}"
        )
        yield Finding("buses", "mind", text)
