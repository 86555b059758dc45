"""Settings to core: which alarm needs what, and what suppresses what."""
