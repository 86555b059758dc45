"""Work in fresh air: span oxygen, set carbon monoxide's zero, recalibrate CO2.

`session` is the whole of it: look at the parts, judge by `fresh_air` whether this air
will do, work out each part's figures by its own file (`oxygen`, `ways`, `found`), and
keep them (`kept`; `proofs` for the tests of the parts, `dated` for what both share).
`doubts` speaks against a change that nothing explains, `slope` says how a cell drifts
with temperature, `life` how long it will last; `table` prints.

May be imported by: commands, precheck.
"""
