"""Recorded inputs through the firmware again: a stored run (replay), or one that is on (shadow)."""
