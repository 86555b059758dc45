"""What a person asks of the running daemon: `parse` reads it, `socket` brings it.

The same requests come by phone (`outputs/mqtt/requests`) and by the machine's socket,
which `making` makes and whose connections are in `callers`; `probe` finds another
watch there.  `limits` says how often
each sender may ask, `repeats` finds what comes twice, `outcome` says what became of an
act.

May be imported by: commands, outputs, phone, precheck, rehearsal, service.
"""
