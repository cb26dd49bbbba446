"""Emberbed hardware-in-the-loop: acceptance steps on a real device."""
