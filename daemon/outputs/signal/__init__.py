"""What is heard, seen and pressed in the cabin.

`buzzer`, `light` and `button` are the devices.  `patterns` are the published sounds,
`player` plays one from a thread of its own, `retrying_line` keeps its line alive.
`gpio` is a pin of the machine, `tone` a PWM channel.

May be imported by: commands, precheck, rehearsal, service.
"""
