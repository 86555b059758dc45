"""Before bed: what the air model says of the night to come."""
