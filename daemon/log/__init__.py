"""The log of the nights, both ends.

Written by `writer` (batched, synced at once for what matters), through `queue`, as
`lines`, into the files of `folder`: one from noon to noon, in the order of their
`number`, packed and capped.  Read by `reader`, line by line, in whatever state the card
left them, through `unpack`.  `runs` and `timeline` make of the lines of each `run` one
`night` in even steps, within a `room`; `find` finds the night that a person means, with
the files `neighbours` that may hold some of it, a file that is there twice once
(`doubles`); its runs are `picked` by the `periods` that were watched.  `csv` reads
recordings of others, by `csv_units`; `moments` has a night's times and dates.  A
`survey` shows what a file holds and lacks, a `check` compares them, `mend` writes what
is left; `keys` are the series of a folder.  What both ends agree on is in `format`;
`whole_state` is what a file that goes on with a run begins with.

May be imported by: commands, rehearsal, replay, report, review, service.
"""
