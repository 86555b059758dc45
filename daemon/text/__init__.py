"""Makers of what people and programs read, for every folder above.

`numbers`, `durations`, `moments`, `time_zones`, `sentences`, `plain` and `json` format,
`charts` draws (on `svg`, the only importer of matplotlib; `bare_svg` leaves what a page
needs), `terminal` is the only importer of rich, `libraries` says what puts a missing
one in; `typed` puts frozen dataclasses into plain values and back.  `units` is the one
table of units, `units_said` writes numbers in a person's own, `units_read` reads them
with theirs.  `errors` has the
root of the errors that end in a sentence, and the exit codes.

May be imported by: any folder but air, drivers, rules, trend.  The core takes
`numbers`, `durations` and `units_said` alone, which are as pure as itself.
"""
