"""The daemon: pure decisions in the middle, a thin shell around them."""
