"""Whole numbers as columns of lanes: bit i of a column is one bit of the state in lane i.

Thousands of states are turned over at once; byte-wise, because shifting numbers of a million bits
one bit at a time takes longer than all scans.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

Columns = list[int]  # of each bit of the state the lanes in which it is 1

_BIT = [bytes(48 + (byte >> t & 1) for byte in range(256)) for t in range(8)]
_WEIGHT = [bytes.maketrans(b"01", bytes((0, 1 << t))) for t in range(8)]


def words_of(columns: Sequence[int], lanes: int) -> list[int]:
    """For each lane the number whose bit i is the lane's bit of column i."""
    if not columns:
        return [0] * lanes
    parts: list[tuple[int, ...]] = []
    for low in range(0, len(columns), 64):
        buffer = memoryview(bytearray(8 * lanes))
        for plane in range(low, min(low + 64, len(columns)), 8):
            total = 0
            for t, column in enumerate(columns[plane : plane + 8]):
                if column:
                    text = format(column, f"0{lanes}b").encode()
                    total |= int.from_bytes(text.translate(_WEIGHT[t]), "big")
            if total:
                buffer[(plane - low) // 8 :: 8] = memoryview(total.to_bytes(lanes, "little"))
        parts.append(tuple(buffer.cast("Q")) if _LITTLE else _unpacked(bytes(buffer)))
    if len(parts) == 1:
        return list(parts[0])
    return [
        sum(part << 64 * place for place, part in enumerate(each))
        for each in zip(*parts, strict=True)
    ]


def _unpacked(data: bytes) -> tuple[int, ...]:
    return tuple(int.from_bytes(data[at : at + 8], "little") for at in range(0, len(data), 8))


_LITTLE = memoryview(bytes((1, *[0] * 7))).cast("Q")[0] == 1


def columns_of(words: Sequence[int], width: int) -> Columns:
    """The first `width` bits of numbers as columns; word i is lane i."""
    stride, low = -(-width // 8), (1 << width) - 1
    data = b"".join((word & low).to_bytes(stride, "little") for word in words)
    columns = []
    for plane in range(stride):
        part = data[plane::stride][::-1]
        for t in range(min(8, width - 8 * plane)):
            columns.append(int(part.translate(_BIT[t]), 2) if words else 0)
    return columns


def tiled(mask: int, width: int, times: int) -> int:
    """`times` copies of a mask of `width` bits, one above the other."""
    made, copies = 0, 0
    piece, size = mask, 1
    while times:
        if times & 1:
            made |= piece << copies * width
            copies += size
        times >>= 1
        if times:
            piece |= piece << size * width
            size *= 2
    return made


def spread(mask: int, width: int, times: int) -> int:
    """A mask of `width` bits with each bit standing `times` times."""
    text = format(mask, f"0{width}b").replace("1", "x" * times)
    return int(text.replace("0", "0" * times).replace("x", "1"), 2)


def lanes_of(mask: int) -> Iterator[int]:
    """The lanes of a mask, the lowest first."""
    text = format(mask, "b")[::-1]
    at = text.find("1")
    while at >= 0:
        yield at
        at = text.find("1", at + 1)
