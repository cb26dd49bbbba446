"""The bench record: what was done to a board besides heating it, at what cost, to what end."""
