"""The parts that can be driven, and which of them answer here.

`scan_targets` says which wires are looked at, `scan` asks each of them, `scan_text`
formats the answer.

May be imported by: commands.
"""
