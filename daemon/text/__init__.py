"""Makers of what people and programs read, for every folder above.

`numbers` and `json` format, `charts` draws (on `svg`, the only importer of
matplotlib), `terminal` is the only importer of rich.

May be imported by: any folder but air, core, drivers, rules, sampling, settings, trend.
"""
