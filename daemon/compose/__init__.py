"""From settings to the core's set-up.

`compose` makes series, alarms, trend and sentences of what a config says;
`from_settings` does so for a whole config; `suppression` works out which alarm covers
which, part by part.

May be imported by: commands, precheck, rehearsal, replay, service, span.
"""
