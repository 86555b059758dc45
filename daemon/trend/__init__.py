"""Pure science of the air's course: where it is heading, and how sure that is.

`rate` is a robust slope.  The zone filter knows the air's own equation: `zone_filter`
is the way in, `minute_means` evens out the readings, `grid` and `bank` hold the
hypotheses, `line` and `explain` compare O2 with CO2, `project` and `estimate` say what
will be.  `model` holds its values, `state` its memory; `core_adapter` fits it to the
core's port.

May be imported by: compose, log, rules.
"""
