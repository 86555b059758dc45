"""Emulated parts: each answers in bytes, with its own timing, lag, noise and drift.

Written from the parts' data sheets (sensors.md) and never from the drivers, so that
an encoder here and a decoder there cannot share a mistake.  One part a file, by the
name that the registry has for it; `known` lists them, `air_now` is what they sense,
`ways` how they lag and drift.

May be imported by: commands.
"""
