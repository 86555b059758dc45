"""The MQTT output, for phones.

`output` is its thread; `publisher` turns the core's commands into `messages` (readings
as `senml`) and orders them in the `outbox`; `session` is one connection to the
`broker`, through paho-mqtt; `bridge` and `rival` judge what others say there;
`requests` lets in what a phone asks; `wakeup` wakes the thread.

May be imported by: phone, precheck, service.
"""
