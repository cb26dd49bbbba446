"""The bench record: what was done to a board besides heating it, what that cost, and what came of it."""
