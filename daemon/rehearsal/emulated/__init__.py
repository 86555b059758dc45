"""Emulated parts: each answers in bytes, with its own timing, lag, noise and drift.

Written from the parts' data sheets (sensors.md) and never from the drivers, so that
an encoder here and a decoder there cannot share a mistake.
"""
