"""A config file becomes frozen settings, or all its mistakes at once."""
