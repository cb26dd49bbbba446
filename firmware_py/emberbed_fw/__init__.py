"""Emberbed firmware: one deterministic machine, bytes and converter words in, power and bytes out."""
