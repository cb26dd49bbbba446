"""Name the commonest slips in a text that is no TOML, all of them, each with its mend.

`slips` takes the whole text and gives (line, sentence) pairs in the order of the file. It looks at
the text itself, outside comments and quoted texts, because a TOML reader stops at its first fault
and speaks of its own grammar. It never raises; what it does not know, it does not name.
"""

import re
import tomllib
from collections.abc import Iterator

from emberbed.plain_text import printable
from emberbed.profiles.written_numbers import WRITTEN, written_mend

_CURLY = "“”„‟‘’‚‛«»″′`"  # what word processors make of quotes
_HIDE = "x"  # stands for each letter of a quoted text
_HEADER = re.compile(r"[ \t]*(\[\[?)[ \t]{0,9}([\w.-]{1,40})[ \t]{0,9}\]\]?[ \t]*$", re.ASCII)
_PAIR = re.compile(r"(?<![\w.-])([\w-]{1,40})[ \t]{0,40}=[ \t]{0,40}", re.ASCII)
_BARE_WORD = re.compile(r"([^\W\d_][\w-]{0,40}(?: [\w.-]{1,40}){0,6})[ \t]{0,99}(?=[,}\]]|$)")
_TOML_WORDS = ("true", "false", "inf", "nan")
_Slip = tuple[int, str]


def slips(text: str) -> list[_Slip]:
    """Return every slip known here as (line from 1, sentence)."""
    masked, found = _masked(text)
    lines = masked.split("\n")
    found += [(n, said) for n, line in enumerate(lines, 1) for said in _value_slips(line)]
    found += _table_slips(lines)
    return sorted(found, key=lambda slip: slip[0])


def _masked(text: str) -> tuple[str, list[_Slip]]:
    """Return `text` with comments dropped and quoted letters hidden, and the slips in its quotes.

    Lines stay where they are; a text whose quotes are a slip is masked as a right one.
    """
    masked: list[str] = []
    found: list[_Slip] = []
    at, line = 0, 1
    while at < len(text):
        letter = text[at]
        if letter in "\"'" or letter in _CURLY:
            end, slip = _quoted_end(text, at)
            if slip:
                found.append((line, slip))
            masked.append('"' + re.sub(r"[^\n]", _HIDE, text[at:end]) + '"')
        elif letter == "#":
            end = _line_end(text, at)
        else:
            end = at + 1
            masked.append(letter if letter != "\r" else " ")
        line += text.count("\n", at, end)
        at = end
    return "".join(masked), found


def _quoted_end(text: str, start: int) -> tuple[int, str | None]:
    """Return where the quoted text that begins at `start` ends, and its slip or None."""
    mark = text[start]
    if text.startswith(mark * 3, start) and mark not in _CURLY:
        end = text.find(mark * 3, start + 3)
        if end < 0:
            return len(text), f"the text has no closing {mark * 3}; write it at its end"
        return end + 3, None
    stop = _line_end(text, start)
    if mark in _CURLY:
        rest = re.search(rf'[{_CURLY}"]', text[start + 1 : stop])
        end = start + 1 + rest.start() if rest else stop
        return min(end + 1, stop), _straight(text[start + 1 : end])
    at = start + 1
    while at < stop and text[at] != mark:
        at += 2 if mark == '"' and text[at] == "\\" else 1
    if at < stop:
        return at + 1, None
    curly = re.search(f"[{_CURLY}]", text[start + 1 : stop])
    if curly:
        return stop, _straight(text[start + 1 : start + 1 + curly.start()])
    return stop, f"the text has no closing quote; write {mark} at its end"


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end


def _straight(content: str) -> str:
    return f'use straight quotes: "{printable(content.strip(), 40)}"'


def _value_slips(line: str) -> Iterator[str]:
    for pair in _PAIR.finditer(line):
        key, start = pair[1], pair.end()
        number, word = WRITTEN.match(line, start), _BARE_WORD.match(line, start)
        written = number or word
        if written is None or _is_toml(written[0]):
            continue
        shown = printable(written[0].strip(), 40)
        mend = written_mend(key, written[0]) if number else _word_mend(written[0].strip())
        yield f"{key} = {shown}: {mend}"


def _word_mend(word: str) -> str:
    if word.casefold() in _TOML_WORDS:
        return f"write it in small letters: {word.casefold()}"
    return f'put the text in quotes: "{printable(word, 40)}"'


def _is_toml(value: str) -> bool:
    try:
        tomllib.loads(f"value = {value}")
    except (ValueError, RecursionError):
        return False
    return True


def _table_slips(lines: list[str]) -> Iterator[_Slip]:
    """Yield what is wrong with headers, and keys that stand twice in one table."""
    depth, table = 0, ""
    seen: set[str] = set()
    tables: set[str] = set()
    for number, line in enumerate(lines, 1):
        header = _HEADER.match(line) if depth <= 0 else None
        if header:
            table, seen = header[2], set()
            yield from ((number, slip) for slip in _header_slips(header, tables))
            continue
        pair = _PAIR.match(line.lstrip(" \t")) if depth <= 0 else None
        if pair and pair[1] in seen:
            yield number, f"{pair[1]} is given twice in {_where(table)}; {_keep(table, pair[1])}"
        if pair:
            seen.add(pair[1])
        depth += sum(line.count(mark) for mark in "[{") - sum(line.count(mark) for mark in "]}")


def _header_slips(header: re.Match[str], tables: set[str]) -> Iterator[str]:
    name = header[2]
    if header[1] == "[" and name == "stages":
        yield "[stages] is one table and stages are a list: write [[stages]], two brackets"
    elif header[1] == "[" and name in tables:
        yield f"[{name}] stands twice; join the two"
    tables.add(name)


def _where(table: str) -> str:
    if table == "stages":
        return "this stage"
    return f"[{table}]" if table else "this file"


def _keep(table: str, key: str) -> str:
    if (table, key) == ("stages", "kind"):
        return "begin the next stage with [[stages]]"
    return "keep one of them"
