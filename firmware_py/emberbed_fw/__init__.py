"""Emberbed firmware: one deterministic machine, converter words in, power and bytes out."""
