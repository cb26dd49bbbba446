"""Tables of equal rows, read from bytes into one column per field.

Takes a layout ((name, struct code), ...) and bytes; gives `columns[name][row]`, so that a tick
reads one number without building a tuple. Used when a block is loaded, never inside a tick.
"""

import struct
from array import array


def read_columns(fields, data, offset, rows):
    """Return {name: array of `rows` ints} from packed little-endian rows starting at `offset`;
    16 bits without sign take no more room than that."""
    layout = "<" + "".join([code for _name, code in fields])
    size = struct.calcsize(layout)
    columns = {}
    at = offset
    for name, code in fields:
        width = struct.calcsize("<" + code)
        column = array("H" if code == "H" else "i", [0] * rows)
        for row in range(rows):
            column[row] = read_int(code, data, at + row * size)
        columns[name] = column
        at += width
    return columns


def read_int(code, data, offset):
    """Return one packed integer; one too large for a small int comes back as the largest of them,
    so that every range check refuses it."""
    number = struct.unpack_from("<" + code, data, offset)[0]
    return min(max(number, -0x3FFFFFFF), 0x3FFFFFFF)
