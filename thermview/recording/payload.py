"""Looks through a stored chunk before a decompressor that trusts its input gets it.

The bitshuffle filter (32008) walks block lengths inside the chunk without looking where the chunk
ends; a damaged one takes the whole program down. Layout: 8 bytes size of the picture, 4 bytes size
of a block, then per block 4 bytes length and so many bytes (all big-endian), then the last
elements that fill no group of eight, as they are.
"""

from __future__ import annotations

import struct
from typing import Any

import numpy as np

from thermview.errors import InputError

BITSHUFFLE = 32008
_FLETCHER32 = 3
_NO_COMPRESSION = 0
_LARGEST_BLOCK_BYTES = 1 << 24
_HEADER_BYTES = 12


class PayloadGuard:
    """Checks the chunks of one dataset; harmless filters pass unread."""

    def __init__(self, dataset: Any) -> None:
        self._dataset = dataset
        self._element_bytes = int(dataset.dtype.itemsize)
        self._chunk = dataset.chunks
        self._bytes = 0
        self._position = -1
        self._trailer_bytes = 0
        if dataset.chunks is None:
            return
        self._bytes = int(np.prod(dataset.chunks)) * self._element_bytes
        settings = dataset.id.get_create_plist()
        filters = [settings.get_filter(n) for n in range(settings.get_nfilters())]
        for position, (code, _, values, _) in enumerate(filters):
            if code == BITSHUFFLE:
                self._check_settings(values)
                compressed = len(values) > 4 and values[4] != _NO_COMPRESSION
                self._position = position if compressed else -1
                self._trailer_bytes = 4 * sum(f[0] == _FLETCHER32 for f in filters[position:])

    def _check_settings(self, values: tuple[int, ...]) -> None:
        block = values[3] if len(values) > 3 else 0
        good = len(values) > 2 and values[2] == self._element_bytes and block % 8 == 0
        if not good or block * self._element_bytes > _LARGEST_BLOCK_BYTES:
            raise InputError(f"the compression's settings {tuple(values)} are damaged")

    def check(self, first: int, count: int) -> None:
        """Check the chunks that hold frames `first` … `first + count - 1`.

        Raises
        ------
        InputError
            A chunk is damaged.
        """
        if self._position < 0:
            return
        frames, rows, columns = self._dataset.shape
        deep, high, wide = self._chunk
        for start in range(first - first % deep, min(first + count, frames), deep):
            for row in range(0, rows, high):
                for column in range(0, columns, wide):
                    self._check_chunk((start, row, column))

    def _check_chunk(self, corner: tuple[int, int, int]) -> None:
        if self._dataset.id.get_chunk_info_by_coord(corner).byte_offset is None:
            return
        skipped, payload = self._dataset.id.read_direct_chunk(corner)
        if skipped >> self._position & 1:
            return
        view = memoryview(payload)
        view = view[: len(view) - self._trailer_bytes]
        if not self._is_whole(view):
            raise InputError("its compressed data are damaged")

    def _is_whole(self, payload: memoryview) -> bool:
        if len(payload) < _HEADER_BYTES:
            return False
        size, block_bytes = struct.unpack_from(">QI", payload)
        step = 8 * self._element_bytes
        if size != self._bytes or not 0 < block_bytes <= _LARGEST_BLOCK_BYTES:
            return False
        if block_bytes % step:
            return False
        blocks = size // block_bytes + (size % block_bytes >= step)
        place = _HEADER_BYTES
        for _ in range(blocks):
            if place + 4 > len(payload):
                return False
            place += 4 + int(struct.unpack_from(">I", payload, place)[0])
        return bool(place + size % step == len(payload))
