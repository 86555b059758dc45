"""Before bed: what the air model says of the night to come.

`figures` holds the cabin's figures, each with its range; `flame` what the cold lets
burn; `scenario` settles every uncertain one, `night` and `settle` run it, `openings`
sizes the vents, `vent_advice` says how much more is called for, `places` where parts
are wanted.  `plan` puts them together, `advice` orders what to change, `sweep` varies
one figure; `words` (with `heading` and `lines`), `plan_json` and `picture` show it.

May be imported by: commands.
"""
