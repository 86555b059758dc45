"""The ways out; none can delay or silence another.

`base` is what all share: `handle` never blocks and never raises, and a fault is
reported once; `thread` is the thread that each has of its own.  `signal/` is what is
heard, seen and pressed in the cabin, `mqtt/` the phone's side, `state_file` what is
kept for the next start, `disk` what both that and the log need of a disk.  The log's
writer is an output too: `daemon/log/writer`.

May be imported by: commands, log, phone, precheck, rehearsal, service, span.
"""
