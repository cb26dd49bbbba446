"""The links of a run's hash chain in their order, as the audit walks them."""

import sqlite3
from binascii import crc32
from dataclasses import dataclass, replace

from emberbed.store import chain
from emberbed.store import statements as sql
from emberbed.store.contents import tick_of
from emberbed.store.runs import Block, Stretch, made
from emberbed.store.stretches import PackedBlock, unpack


@dataclass(frozen=True)
class Link:
    """A block, or a stretch of them. `ticks` 0: the header or the closing block.

    `blocks` are the records, None while they lie as rows; `damage` says why a stretch cannot be
    read, or ''.
    """

    first_block: int
    last_block: int
    first_tick: int | None
    last_tick: int | None
    ticks: int
    sha256: bytes
    rebuilt: bool = False
    blocks: tuple[PackedBlock, ...] | None = None
    damage: str = ""

    def with_records(self, records: tuple[bytes, ...]) -> "Link":
        return replace(self, blocks=(PackedBlock(self.rebuilt, records),))

    def hash_after(self, before: bytes) -> bytes:
        """Return what the hash of this link must be after the one before it."""
        for block in self.blocks or ():
            before = chain.block_hash(before, block.records, block.rebuilt)
        return before


def links_of(connection: sqlite3.Connection, run_id: int) -> list[Link]:
    """Return all links by their numbers; ValueError for a row that is none."""
    blocks = [made(Block, row) for row in connection.execute(sql.BLOCKS, (run_id,))]
    stretches = [made(Stretch, row) for row in connection.execute(sql.STRETCHES, (run_id,))]
    links = [_of_block(block) for block in blocks] + [_of_stretch(one) for one in stretches]
    return sorted(links, key=lambda link: link.last_block)


def _of_block(block: Block) -> Link:
    at = (block.number, block.number, block.first_tick, block.last_tick)
    if block.rebuilt not in (0, 1):
        raise ValueError(f"block {block.number} is neither rebuilt nor not")
    return Link(*at, block.ticks, block.sha256, bool(block.rebuilt))


def _of_stretch(stretch: Stretch) -> Link:
    at = (stretch.first_block, stretch.last_block, stretch.first_tick, stretch.last_tick)
    link = Link(*at, stretch.ticks, stretch.sha256)
    try:
        blocks = tuple(unpack(stretch.packed))
        ticks = [tick_of(octets) for block in blocks for octets in block.records]
    except ValueError as error:
        return replace(link, damage=str(error))
    if crc32(stretch.packed) != stretch.packed_crc32:
        return replace(link, damage="a stray bit in what is packed, or in its check value")
    told = (stretch.last_block - stretch.first_block + 1, *at[2:], stretch.ticks)
    if told != (len(blocks), min(ticks), max(ticks), len(ticks)):
        return replace(link, damage="its row and what is packed in it tell different things")
    return replace(link, blocks=blocks)
