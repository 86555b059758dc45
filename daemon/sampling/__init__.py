"""From the wires to samples.

`buses` and `serial_port` move the bytes (the only importers of smbus2 and pyserial),
`bus_errors` names what fails, `worker` keeps calls that block off the event loop.
`sampler` asks parts at their interval, `stream_sampler` listens to those that send;
`part_health` decides which fault is reported.  `wiring` makes them from settings,
`sampler_pool` runs them for all who sample, `collector` keeps samples for a while.

May be imported by: commands, parts, precheck, rehearsal, service, span.
"""
