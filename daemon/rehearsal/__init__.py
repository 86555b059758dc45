"""The emulated cabin and its parts, on emulated wires."""
