"""Is the thermocouple telling the truth: fixed points, the line through them, what is left over."""
