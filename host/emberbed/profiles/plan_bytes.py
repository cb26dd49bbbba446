"""The bytes of a plan: pack fields by name, take a plan apart by name.

The order and width of fields live in the firmware's tables only (`emberbed_fw.plan`). `decode_plan`
is for reports and tests; the device has its own reader.
"""

import struct
from binascii import crc32
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from emberbed_fw import plan as layout
from emberbed_fw.units import CHANNELS

Row = Mapping[str, int]


class PlanRefused(ValueError):
    """This profile cannot be a plan on this device; the text is one sentence with the mend."""


@dataclass(frozen=True)
class Plan:
    """A plan taken apart: fields by the names of `emberbed_fw.plan`."""

    header: dict[str, int]
    stages: list[dict[str, int]]
    knots: list[dict[str, int]]

    def board_channels(self) -> list[int]:
        """Return the channels whose beads lie on the board."""
        off = (layout.ROLE_ABSENT, layout.ROLE_EMITTER)
        return [c for c in range(CHANNELS) if self.header[f"role{c}"] not in off]

    def knots_of(self, stage: int) -> list[dict[str, int]]:
        """Return the knots of stage number `stage`, counted from 0."""
        row = self.stages[stage]
        return self.knots[row["first_knot"] : row["first_knot"] + row["knots"]]


def pack_plan(header: Row, stages: Sequence[Row], knots: Sequence[Row]) -> bytes:
    """Pack fields by name into the bytes of a plan, CRC-32 at the end; a missing field is 0."""
    if len(knots) > layout.MAX_KNOTS:
        raise PlanRefused(
            f"the profile needs {len(knots)} knots and the device holds {layout.MAX_KNOTS};"
            " join some stages"
        )
    body = _pack(layout.HEADER, layout.HEADER_FIELDS, header)
    body += b"".join(_pack(layout.STAGE, layout.STAGE_FIELDS, row) for row in stages)
    body += b"".join(_pack(layout.KNOT, layout.KNOT_FIELDS, row) for row in knots)
    return body + struct.pack("<I", crc32(body))


def decode_plan(data: bytes) -> Plan:
    """Take a plan apart; ValueError for one that is damaged or of another format version."""
    if len(data) < layout.HEADER_BYTES + 4:
        raise ValueError("these bytes are too few for a plan")
    if struct.unpack_from("<I", data, len(data) - 4)[0] != crc32(data[:-4]):
        raise ValueError("the plan is damaged: its CRC does not fit")
    if data[0] != layout.FORMAT_VERSION:
        raise ValueError(f"the plan has format version {data[0]}, not {layout.FORMAT_VERSION}")
    header = _unpack(layout.HEADER, layout.HEADER_FIELDS, data, 0)
    knots_at = layout.HEADER_BYTES + header["stages"] * layout.STAGE_BYTES
    if len(data) != plan_length(data):
        raise ValueError("the plan's length does not fit its numbers of stages and knots")
    return Plan(
        header,
        _rows(layout.STAGE, layout.STAGE_FIELDS, data, layout.HEADER_BYTES, header["stages"]),
        _rows(layout.KNOT, layout.KNOT_FIELDS, data, knots_at, header["knots"]),
    )


def plan_length(head: bytes) -> int:
    """Return how many bytes the plan has whose first layout.HEADER_BYTES bytes these are."""
    header = _unpack(layout.HEADER, layout.HEADER_FIELDS, head, 0)
    knots_at = layout.HEADER_BYTES + header["stages"] * layout.STAGE_BYTES
    return knots_at + header["knots"] * layout.KNOT_BYTES + 4


def _pack(code: str, fields: Sequence[tuple[str, str]], row: Row) -> bytes:
    unknown = set(row) - {name for name, _code in fields}
    if unknown:
        raise KeyError(f"no such field in the plan: {sorted(unknown)}")
    return struct.pack(code, *[row.get(name, 0) for name, _code in fields])


def _unpack(code: str, fields, data: bytes, at: int) -> dict[str, int]:
    names = [name for name, _code in fields]
    return dict(zip(names, struct.unpack_from(code, data, at), strict=True))


def _rows(code: str, fields, data: bytes, at: int, count: int) -> list[dict[str, int]]:
    size = struct.calcsize(code)
    return [_unpack(code, fields, data, at + row * size) for row in range(count)]
