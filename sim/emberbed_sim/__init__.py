"""Emberbed simulation: the simulated heater, its faults, and the firmware run against it."""
