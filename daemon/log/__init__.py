"""The log of the nights, both ends.

Written by `writer` (batched, synced at once for what matters), through `queue`, as
`lines`, into the files of `folder`: one from noon to noon, packed and capped.  Read by
`reader`, line by line, in whatever state the card left them.  `runs` and `timeline`
make of the lines of each `run` one `night` in even steps; `find` finds the night that
a person means; `csv` reads recordings of others; `moments` has a night's times and
dates.  What both ends agree on is in `format`; `whole_state` is what a file that goes
on with a run begins with.

May be imported by: commands, rehearsal, replay, report, review, service.
"""
