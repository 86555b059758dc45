"""A config file becomes frozen settings, or all its mistakes at once.

`config` is the way in.  `read` reads TOML, `read_table` gives each value its type, by
the `checks` beside the field; `values` holds one class a table.  `alarms`, `parts` and
`tables` check what must fit together, `laxer` what is less strict than the packaged
limits, `limit_sources` says where those come from, `registries` what may be named,
`devices` what this machine has, `accounts` whose rights count there, `ca_certificate`
what a strict TLS has against an authority; `part_infos` is the registry with a config's
own times; `words` reads the sentences of a language; `errors` are the mistakes.

May be imported by: any folder but air, core, drivers, log, rules, text, trend.
"""
