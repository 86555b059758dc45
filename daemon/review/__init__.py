"""In the morning: what the log says of the night that was."""
