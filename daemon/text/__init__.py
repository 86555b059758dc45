"""Makers of what people and programs read, for every folder above.

`numbers` and `json` format, `charts` draws (on `svg`, the only importer of
matplotlib), `terminal` is the only importer of rich.  `errors` has the root of the
errors that end in a sentence, and the exit codes.

May be imported by: any folder but air, core, drivers, rules, trend.
"""
