"""Runs that are refused."""

RUN = ("run", "label-printer")
PRESSED = (*RUN, "--press", "--speed", "max")


def refused(said):
    """Return the one sentence of a refusal."""
    assert said.exit_code == 2, said
    assert said.out == ""
    assert len(said.lines) == 1, said.err
    return said.err.strip()
