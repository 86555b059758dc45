"""The emulated cabin: the daemon's own shell on emulated wires, in virtual time.

`nights` are the named nights; `cabin` makes their air, `recorded` replays somebody
else's.  `emulated_wires` puts the parts of `emulated/` on `wires`, which fail by the
words of `faults` in `faulty` and `faulty_serial`.  `play` runs it on the event loop of
`virtual`; `narrator` and `account` report it.  `live` lets it be asked and listened to
as the monitor itself, `loudspeaker` plays the sounder.

May be imported by: commands.
"""
