"""Recorded nights through the rules, and what other limits would have raised.

`replay` is the run itself, `replayed` where it stands, `other_limits` the limits to be
tried, `limits_diff` and `ring_diff` the comparison, `json_lines` the form in which
commands are printed.

May be imported by: commands.
"""
