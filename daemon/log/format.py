"""What both ends of the log agree on: its number, and the keys of every line."""

LOG_FORMAT = 1
"""Raised when a reader of the old form could no longer read the new one."""

OWN_KEYS = ("t", "up_s", "event")
"""Every line begins with these; a field of the same name is spelled `<name>_`."""

REFUSED_ASK = ("ask", "refused")
"""Source and kind of a fault's line that only records a moment: nothing stands, rings
or ends by it."""

STATE = "state"
"""The lines after the start of a file that goes on: what was known at that moment."""

DELETED = "deleted"
"""The line that shows which nights the folder's cap has taken."""

LOST = "lost"
"""The line of a mended file that shows where others could not be read."""
