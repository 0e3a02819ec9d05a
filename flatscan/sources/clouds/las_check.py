"""LAS header counts and the LAZ chunk table, checked before the libraries trust them."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any

from flatscan.errors import InputError
from flatscan.sources.guard import EXPORT_AGAIN, library_errors

if TYPE_CHECKING:
    from pathlib import Path

_OFFSET_BYTES = 8
#: Writers use 50 000 points a chunk; the unpacker reserves room for one whole chunk.
_MOST_CHUNK_POINTS = 10_000_000
# LAS 1.4 (R15), table 3: byte offsets of the record counts, and the bytes a record takes at least.
_RECORDS_AT, _RECORD_BYTES = 100, 54
_EXTENDED_AT, _EXTENDED_BYTES, _EXTENDED_HEADER = 243, 60, 375


def check_record_counts(path: Path) -> None:
    """Refuse a header that counts more (extended) records than the file can hold: they would be read one by one."""
    size = path.stat().st_size
    with library_errors(path, "its LAS header cannot be read"), path.open("rb") as stream:
        head = stream.read(_EXTENDED_HEADER)
        records = struct.unpack_from("<I", head, _RECORDS_AT)[0]
        header_size = struct.unpack_from("<H", head, 94)[0]
        extended = 0
        if header_size >= _EXTENDED_HEADER:
            extended = struct.unpack_from("<I", head, _EXTENDED_AT)[0]
    if records * _RECORD_BYTES > size or extended * _EXTENDED_BYTES > size:
        raise InputError(path, "its header counts more records than the file can hold", EXPORT_AGAIN)


def check_chunk_table(path: Path, header: Any) -> None:
    """Refuse a chunk table that asks for more bytes than the file has.

    The compiled unpacker reserves memory for what the table says and ends the whole process when it
    cannot have it, so this cannot be left to its error handling.

    Parameters
    ----------
    path : the file
    header : its laspy header
    """
    import lazrs  # type: ignore[import-untyped]

    size, start = path.stat().st_size, int(header.offset_to_point_data)
    with library_errors(path, "its table of packed chunks cannot be read"), path.open("rb") as stream:
        stream.seek(start)
        (table_at,) = struct.unpack("<q", stream.read(_OFFSET_BYTES))
        if table_at == -1:  # a writer that could not go back puts the place at the end of the file
            stream.seek(size - _OFFSET_BYTES)
            (table_at,) = struct.unpack("<q", stream.read(_OFFSET_BYTES))
        if not start + _OFFSET_BYTES <= table_at < size:
            raise _bad_table(path)
        stream.seek(table_at)
        _version, chunks = struct.unpack("<II", stream.read(8))
        # Every chunk holds at least one point in full.
        if chunks * header.point_format.size > size:
            raise _bad_table(path)
        stream.seek(start)
        vlr = lazrs.LazVlr(header.vlrs.get("LasZipVlr")[0].record_data)
        table = lazrs.read_chunk_table(stream, vlr)
        largest = max((points for points, _packed in table), default=0)
        if not vlr.uses_variable_size_chunks():
            largest = max(largest, vlr.chunk_size())
    if sum(packed for _points, packed in table) > size or largest > _MOST_CHUNK_POINTS:
        raise _bad_table(path)


def _bad_table(path: Path) -> InputError:
    return InputError(path, "its table of packed chunks does not fit the file", EXPORT_AGAIN)
