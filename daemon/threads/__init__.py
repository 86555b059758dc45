"""Threads that wait so that the event loop does not: `worker` makes blocking calls.

The threads of the outputs are in `outputs/thread`: they know faults and commands, and
what is here knows nothing of ours.

May be imported by: outputs, parts, phone, precheck, rehearsal, sampling, service, span.
"""
