"""Emberbed host: checks, runs, watches, logs, reports and proves an infrared bottom heater."""

__version__ = "0.1.0"
