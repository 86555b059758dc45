"""Pure air science: floats in, floats out, units in every name."""
