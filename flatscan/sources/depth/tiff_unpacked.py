"""What the strips of a TIFF unpack to, before a library unpacks them: a small strip may inflate without end."""

from __future__ import annotations

import lzma
import math
import zlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tifffile import TiffFile

#: TIFF 6.0 and its registered extensions: deflate (both numbers) and LZMA2, which the library unpacks whole.
_UNPACKERS: dict[int, Any] = {8: zlib.decompressobj, 32946: zlib.decompressobj, 34925: lzma.LZMADecompressor}


def check_unpacked(tiff: TiffFile) -> None:
    """Raise ValueError where a strip or a tile of the first page holds more than the page says."""
    page: Any = tiff.pages.first
    unpacker = _UNPACKERS.get(int(page.compression))
    if unpacker is None:
        return
    most = math.prod(page.chunks) * page.dtype.itemsize
    for offset, count in zip(page.dataoffsets, page.databytecounts, strict=True):
        tiff.filehandle.seek(offset)
        if len(unpacker().decompress(tiff.filehandle.read(count), most + 1)) > most:
            raise ValueError(f"a part of it unpacks to more than the {most:,} bytes it is said to hold")
