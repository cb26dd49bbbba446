"""What the bench pays: a kWh, an hour of work; set at any time, older jobs keep theirs.

Amounts are decimal, in one currency, never binary fractions.
"""

import re
from dataclasses import dataclass
from decimal import Decimal

from emberbed.bench.prepare import NotReady
from emberbed.plain_text import printable
from emberbed.store.database import Database
from emberbed.store.runs import utc_now

KWH, HOUR, CURRENCY = "kwh", "hour", "currency"
MOST_AMOUNT = Decimal(1_000_000)
CENT = Decimal("0.01")  # amounts are shown to it
_AMOUNT = re.compile(r"\d{1,7}(\.\d{1,6})?", re.ASCII)
_CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)  # as ISO 4217 writes them
_INSERT = "INSERT INTO bench_price (set_utc, name, value) VALUES (?, ?, ?)"
_ALL = "SELECT set_utc, name, value FROM bench_price ORDER BY number"


@dataclass(frozen=True)
class Prices:
    """None for what nobody has set."""

    kwh: Decimal | None = None
    hour: Decimal | None = None
    currency: str = ""


def amount(what: str, text: str) -> Decimal:
    """Read an amount of money as people write it; NotReady names the mend."""
    if not _AMOUNT.fullmatch(text.strip()) or Decimal(text.strip()) > MOST_AMOUNT:
        such = "write it with a point, such as 12.50"
        raise NotReady([f"{what} {printable(text)} is no amount of 0 to {MOST_AMOUNT}: {such}"])
    return Decimal(text.strip())


def money(of: Decimal | None, currency: str) -> str:
    """Return an amount as it is shown, in cents."""
    if of is None:
        return "not known"
    return f"{of.quantize(CENT)} {currency}".rstrip()


def set_prices(database: Database, given: dict[str, str]) -> None:
    """Keep prices (KWH, HOUR as amounts, CURRENCY as three letters) from now on."""
    values: dict[str, str] = {}
    for name, text in given.items():
        if name == CURRENCY:
            values[name] = _currency(text)
        else:
            values[name] = str(amount(f"--{name}", text))
    with database.writing():
        for name, value in values.items():
            database.all(_INSERT, utc_now(), name, value)


def prices_at(database: Database, when_utc: str | None) -> Prices:
    """Return the prices of a time (None: now): the newest before it, else the first ones set."""
    known: dict[str, str] = {}
    for row in database.all(_ALL):
        if row["name"] not in known or when_utc is None or row["set_utc"] <= when_utc:
            known[row["name"]] = row["value"]
    kwh, hour = (Decimal(known[name]) if name in known else None for name in (KWH, HOUR))
    return Prices(kwh, hour, known.get(CURRENCY, ""))


def _currency(text: str) -> str:
    letters = text.strip().upper()
    if not _CURRENCY.fullmatch(letters):
        such = "write its three letters, such as EUR"
        raise NotReady([f"--currency {printable(text)} is no currency: {such}"])
    return letters
