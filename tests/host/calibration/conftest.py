"""The command in process, as its own tests have it."""

from tests.host.cli.conftest import emberbed

__all__ = ["emberbed"]
