"""Integers that a 32-bit interpreter would keep unboxed; the first that it could not is an error.

`SmallInt(5) * 7` is a SmallInt again, so one such operand watches a whole calculation.
"""

from emberbed_fw.integer_math import SMALL_INT_MAX

OPERATIONS = (
    "add", "radd", "sub", "rsub", "mul", "rmul", "floordiv", "rfloordiv", "mod", "rmod",
    "lshift", "rlshift", "rshift", "rrshift", "and", "rand", "or", "ror", "neg", "abs", "invert",
)  # fmt: skip


class SmallInt(int):
    """An int below 2**30; so is everything that is made with it."""

    def __new__(cls, number):
        if abs(int(number)) > SMALL_INT_MAX:
            raise OverflowError(f"{number} would be allocated on a 32-bit device")
        return super().__new__(cls, number)


def _watched(name):
    plain = getattr(int, name)

    def operate(self, *other):
        result = plain(self, *other)
        return result if result is NotImplemented else SmallInt(result)

    return operate


for _operation in OPERATIONS:
    setattr(SmallInt, f"__{_operation}__", _watched(f"__{_operation}__"))


def watched(values):
    """Return a dict with every number of `values` watched."""
    return {name: SmallInt(number) for name, number in values.items()}
