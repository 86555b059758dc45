"""The parts that can be driven, and which of them answer here."""
