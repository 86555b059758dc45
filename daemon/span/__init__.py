"""Work in fresh air: span oxygen, set carbon monoxide's zero, recalibrate CO2.

`session` is the whole of it: look at the parts, judge by `fresh_air` whether this air
will do, work out each part's figures by its own file (`oxygen`, `ways`, `found`), and
keep them (`kept`).  `life` says how long a cell will last, `table` prints.

May be imported by: commands, precheck.
"""
