"""Pure decisions: events in, commands out, no clock and no I/O."""
