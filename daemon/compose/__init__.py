"""From settings to the core's set-up.

`compose` makes series, alarms, trend and sentences of what a config says;
`suppression` works out which alarm covers which, part by part.

May be imported by: commands, precheck, replay, service, span.
"""
