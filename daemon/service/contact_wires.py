"""The wires of this machine, and its lines: contacts are read as the button is."""

from dataclasses import replace

from cabinvigil.daemon.outputs.signal.contact_line import ContactLine, open_contact
from cabinvigil.daemon.sampling.line_sampler import LevelFile
from cabinvigil.daemon.sampling.wiring import REAL, Wires
from cabinvigil.daemon.settings.values import PartSettings


def contact_line(_name: str, part: PartSettings) -> LevelFile:
    """Describe a contact's line; it is taken with the first look."""
    line, pull = part.line or "", str(part.options.get("pull", "up"))
    is_low = part.active_low is not False

    def take() -> ContactLine:
        return open_contact(line, active_low=is_low, pull=pull)

    return LevelFile(line, take)


def machine_wires() -> Wires:
    """Return the wires of this machine."""
    return replace(REAL, line=contact_line)
