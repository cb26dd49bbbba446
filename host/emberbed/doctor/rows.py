"""One row of what `emberbed doctor` looks at: what it is, what was found, the mend if it is wrong.

Nothing here changes anything: no store is made or brought up to date, no device is armed.
"""

from dataclasses import dataclass

MIB = 1024 * 1024


@dataclass(frozen=True)
class Row:
    """`mend` is one sentence where something is wrong, '' where all is well."""

    what: str
    told: str
    mend: str = ""

    @property
    def is_wrong(self) -> bool:
        return bool(self.mend)

    def as_json(self) -> dict[str, str | bool]:
        return {"what": self.what, "told": self.told, "wrong": self.is_wrong, "mend": self.mend}
