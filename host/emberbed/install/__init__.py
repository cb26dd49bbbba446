"""From sources to a running controller board: compile, copy, prove, switch over, go back."""
