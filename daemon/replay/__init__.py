"""Recorded nights through the rules, and what other limits would have rung."""
