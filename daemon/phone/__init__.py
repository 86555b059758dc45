"""The other end: a process of its own that pushes to phones, and notices silence.

`settings` reads its config. What decides is apart from what acts: `inbound` reads what
the broker brings, `silence` says when a cabin is silent, `rings` what is told to whom
and when again, `board` what the page shows of a cabin, `part_test` whether an alarm
sounded by a test of the parts, `answers` whether a press is passed on; none of them has
a clock, a thread or a file. `listener` is the thread that holds the connections to the
broker, `store` keeps what is to be told in SQLite behind `keeper`, `forgotten` notes
there a cabin that is given up, `receipts` says when the broker need not send it again,
`asks` passes answers, marks and reports on a test to the monitor, `push` is the only
importer of apprise, `lanes` has one sender for each address, `page` is the only
importer of aiohttp, `devices` keeps who may answer and draws the pairing link with
segno, `state_folder` holds the folder for one process alone. `service` ties them
together, and `check` says what would keep a phone from ringing.

May be imported by: commands.
"""
