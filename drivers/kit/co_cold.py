"""Carbon monoxide cells give less in the cold: how much less, and what that makes.

Source: Alphasense CO-B4 specification, Nov 2013, as gathered in the project's sensor
notes, section 7b; a module has such a cell within.
"""

COLD_C, COLD_SHARE = -20.0, 0.575
WARM_C = 20.0
"""At -20 °C a cell gives 45 to 70 % of what it gives at 20 °C; the middle."""
COLDEST_C = -30.0
"""The end of the cell's range, to which the line goes on."""


def relative_sensitivity(temp_c: float | None) -> float:
    """Return a cell's sensitivity, of that at 20 °C.

    A cold cell under-reads: without a temperature the cold factor stands, which sounds
    early.  Above 20 °C it is left at 1, though the cell over-reads by 10 to 25 % at
    50 °C: that too rings early.  Below -20 °C the line goes on to the range's end.
    """
    if temp_c is None:
        return COLD_SHARE
    kept = min(max(temp_c, COLDEST_C), WARM_C)
    return 1 - (1 - COLD_SHARE) * (WARM_C - kept) / (WARM_C - COLD_C)
