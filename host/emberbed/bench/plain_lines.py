"""The run as plain lines, one per event: for pipes and files, where no cursor can be moved."""

from rich.console import Console
from rich.markup import escape

from emberbed.bench.bell import ring
from emberbed.bench.story import Story
from emberbed.records import TickRecord


class PlainLines:
    """A screen (run_loop.Screen) that only ever adds lines; use it in a `with`."""

    def __init__(self, console: Console, story: Story, *, quiet: bool = False) -> None:
        self._console = console
        self._quiet = quiet
        self._story = story

    def __enter__(self) -> "PlainLines":
        return self

    def __exit__(self, *_error: object) -> None:
        pass

    def show(self, record: TickRecord) -> None:
        pass

    def turn_over(self, run_id: int) -> None:
        pass

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        line = f"{self._story.clock(tick)}  {escape(sentence)}"
        try:
            self._console.print(line, highlight=False, soft_wrap=True)
            if not self._quiet:
                ring(self._console, kind)
        except (OSError, SystemExit):  # the reader left (rich ends the program then); the run stays
            self._console.quiet = True
