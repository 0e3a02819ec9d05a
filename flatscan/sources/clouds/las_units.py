"""The length unit that a LAS header's coordinate system states, feet included."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.sources.inference import FileUnit

if TYPE_CHECKING:
    from pathlib import Path

#: EPSG unit codes in GeoTIFF keys: metre, international foot, US survey foot (1200/3937 m exactly).
_EPSG_UNITS = {9001: ("m", 1.0), 9002: ("ft", 0.3048), 9003: ("US survey ft", 1200.0 / 3937.0)}
# GeoTIFF 1.1, section 7: key numbers and the model type that means degrees.
_MODEL_TYPE, _HORIZONTAL_UNIT, _VERTICAL_UNIT = 1024, 3076, 4099
_GEOGRAPHIC = 2
_WKT_UNIT = re.compile(r'\b(?:LENGTHUNIT|UNIT)\s*\[\s*"([^"]+)"\s*,\s*([-+.\deE]+)', re.IGNORECASE)
_WKT_VERTICAL = re.compile(r"\b(?:VERT_CS|VERTCRS|VERTCS)\s*\[", re.IGNORECASE)
_WKT_PROJECTED = re.compile(r"\b(?:PROJCS|PROJCRS|PROJECTEDCRS|LOCAL_CS|ENGCRS|ENGINEERINGCRS)\s*\[", re.IGNORECASE)
_ANGLES = ("degree", "radian", "grad", "gon", "arc-second", "unity")


@dataclass(frozen=True, slots=True)
class CrsUnit:
    """``unit`` of x and y with its size, and millimetres per unit of z (they may differ)."""

    unit: FileUnit
    z_mm: float


def unit_from_crs(path: Path, header: Any) -> CrsUnit | None:
    """Units stated in the header, or None; raises ``InputError`` for coordinates in degrees.

    Parameters
    ----------
    path : named in errors
    header : laspy header; its WKT record (LAS 1.4) goes before its GeoTIFF keys
    """
    records = list(header.vlrs) + list(header.evlrs or ())
    for record in records:
        if type(record).__name__ == "WktCoordinateSystemVlr":
            found = from_wkt(path, record.string)
            if found is not None:
                return found
    for record in records:
        if type(record).__name__ == "GeoKeyDirectoryVlr":
            return _from_geo_keys(path, {key.id: key.value_offset for key in record.geo_keys})
    return None


def from_wkt(path: Path, wkt: str) -> CrsUnit | None:
    """Units in a well-known text (both versions): the last length unit of each part is the axes' own."""
    vertical = _WKT_VERTICAL.search(wkt)
    cut = vertical.start() if vertical else len(wkt)
    horizontal = _last_length(wkt[:cut])
    if not _WKT_PROJECTED.search(wkt):
        if re.search(r"\bGEOG", wkt, re.IGNORECASE):
            raise _degrees(path)
        return None
    if horizontal is None:
        return None
    z = _last_length(wkt[cut:]) or horizontal
    return _crs_unit(horizontal, z)


def _last_length(wkt: str) -> tuple[str, float] | None:
    units = [(n, float(f)) for n, f in _WKT_UNIT.findall(wkt) if not n.lower().startswith(_ANGLES)]
    return units[-1] if units else None


def _from_geo_keys(path: Path, keys: dict[int, int]) -> CrsUnit | None:
    if keys.get(_MODEL_TYPE) == _GEOGRAPHIC:
        raise _degrees(path)
    horizontal = _EPSG_UNITS.get(keys.get(_HORIZONTAL_UNIT, 0))
    if horizontal is None:
        return None
    return _crs_unit(horizontal, _EPSG_UNITS.get(keys.get(_VERTICAL_UNIT, 0), horizontal))


def _crs_unit(horizontal: tuple[str, float], vertical: tuple[str, float]) -> CrsUnit:
    name, metres = horizontal
    by = "the file's coordinate system"
    if vertical[1] != metres:
        by += f" (heights in {vertical[0]})"
    z_mm = vertical[1] * MM_PER_M
    return CrsUnit(FileUnit(name, metres * MM_PER_M, by, heights_mm=z_mm), z_mm)


def _degrees(path: Path) -> InputError:
    return InputError(
        path,
        "its coordinates are degrees of longitude and latitude",
        "Export it in a projected or a local coordinate system",
    )
