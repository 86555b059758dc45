"""The running daemon: the shell around the core.

`app` ties all together in one task group: `ticker` ticks, `watcher` feeds the core with
what the parts give and hands its commands to the `outlets`.  `host` and
`host_services` are the machine beneath, `watchdog` the word to systemd, `status` what
is answered to those who ask.  `report_due` and `report_process` have the morning's
account made.

May be imported by: commands, precheck, rehearsal.
"""
