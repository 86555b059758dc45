"""Wires to samples: buses, their errors, workers, samplers, and a look at the parts."""
