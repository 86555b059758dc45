"""Before bed: is everything that watches in order; one screen, one verdict.

`look` samples the parts for a minute; `parts`, `supply`, `phone` and `ways` each judge
their own subject; `findings` makes the verdict.

May be imported by: commands.
"""
