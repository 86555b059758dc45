"""Data that ship with the package; no code.

`limits.toml` are the packaged limits, each with its source; `words_*.toml` the
sentences by language; `cabin.toml` and `phone.toml` the examples; `asyncapi.yaml`,
`log.schema.json` and `output.schema.json` the written contract; `shell/` man page and
completion.

May be imported by: commands, settings; as package data.
"""
