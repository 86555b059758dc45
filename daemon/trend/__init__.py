"""Pure trend science: robust rate, and the filter that knows the air's equation."""
