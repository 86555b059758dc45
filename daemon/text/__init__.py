"""Makers of numbers, durations, moments and JSON; charts; the terminal."""
