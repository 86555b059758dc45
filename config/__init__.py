"""Data that ship with the package: limits, words, the example cabin, the contract."""
