"""One output a file; none can delay or silence another."""
