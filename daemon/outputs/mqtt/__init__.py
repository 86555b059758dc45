"""The MQTT output: session, publisher, outbox, messages, requests."""
