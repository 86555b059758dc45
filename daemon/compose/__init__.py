"""From settings to the core's set-up.

`compose` makes series, alarms, trend and sentences of what a config says;
`from_settings` does so for a whole config; `suppression` works out which alarm covers
which, part by part; `made` adds the series that
no part gives.

May be imported by: commands, precheck, rehearsal, replay, service, span.
"""
