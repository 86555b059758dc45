"""The daemon: pure decisions in the middle, a thin shell around them.

Only four files stand here; every other file has a folder that names its subject.
`cli` reads the command's words and loads its file from `commands/`; `__main__` calls
it.  `clock` is the only reader of time.

May be imported by: any folder; `clock` alone, since `cli` belongs to `__main__`.
"""
