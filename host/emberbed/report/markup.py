"""HTML that cannot be broken by what people or devices wrote: everything is escaped unless built
here. `tag` makes elements; a child that is no Markup is text."""

from html import escape


class Markup(str):
    """Text that is HTML already. Only `tag` and what a program itself drew may be one."""


def tag(name: str, *children: object, **attributes: str) -> Markup:
    """Return an element; `class_` stands for the attribute class. Children are escaped."""
    written = "".join(
        f' {key.rstrip("_")}="{escape(text)}"' for key, text in attributes.items() if text
    )
    return Markup(f"<{name}{written}>{joined(*children)}</{name}>")


def joined(*children: object) -> Markup:
    """Return the children one after the other, each escaped unless it is Markup."""
    return Markup("".join(c if isinstance(c, Markup) else escape(str(c)) for c in children))


def table(
    heads: list[str], rows: list[list[object]], numbers_from: int = 1, class_: str = ""
) -> Markup:
    """Return a table; columns from `numbers_from` on are set to the right, as numbers are."""

    def cells(kind: str, row: list[object]) -> Markup:
        side = ["number" if at >= numbers_from else "" for at in range(len(row))]
        return tag("tr", *(tag(kind, cell, class_=s) for cell, s in zip(row, side, strict=True)))

    head = tag("thead", cells("th", list(heads)))
    body = tag("tbody", *(cells("td", row) for row in rows))
    return tag("div", tag("table", head, body, class_=class_), class_="scroll")


def facts(pairs: list[tuple[str, object]]) -> Markup:
    """Return a list of named facts."""
    return tag("dl", *(tag("div", tag("dt", name), tag("dd", said)) for name, said in pairs))


def sentences(lines: list[str], kind: str = "ul") -> Markup:
    return tag(kind, *(tag("li", line) for line in lines))
