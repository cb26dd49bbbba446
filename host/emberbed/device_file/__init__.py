"""The device description file: what a maker writes, checked and compiled for the device."""
