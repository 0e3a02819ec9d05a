"""Areas, volumes, masses, temperatures and falls."""

from __future__ import annotations

from flatscan.said.system import KG_PER_LB, M2_PER_FT2, imperial, in_unit, number, unit

#: Below this an area is told with one decimal more.
_SMALL_M2 = 10.0
_SMALL_FT2 = 100.0


def area(area_m2: float) -> str:
    """Square metres or square feet with as many figures as a person uses.

    >>> area(0.643), area(43.52)
    ('0.64 m²', '43.5 m²')
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     area(0.643), area(43.52)
    ('6.9 ft²', '468 ft²')
    """
    if not imperial():
        return f"{area_m2:.2f} m²" if area_m2 < _SMALL_M2 else f"{area_m2:.1f} m²"
    feet = area_m2 / M2_PER_FT2
    return f"{feet:.1f} ft²" if feet < _SMALL_FT2 else f"{feet:.0f} ft²"


def volume(volume_l: float, places: int = 1) -> str:
    """A volume without its uncertainty.

    >>> volume(1.26), volume(0.04, 2)
    ('1.3 litres', '0.04 litres')
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     volume(1.26)
    '0.33 US gal'
    """
    more = 1 if imperial() and in_unit(volume_l, "l") < 10.0 else 0  # noqa: PLR2004 - a gallon is near four litres
    return f"{in_unit(volume_l, 'l'):.{places + more}f} {unit('litres')}"


def mass(mass_kg: float, places: int = 1) -> str:
    """A mass of primer, or of what a volume weighs.

    >>> mass(0.14)
    '0.1 kg'
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     mass(0.14)
    '0.3 lb'
    """
    return f"{number(mass_kg, 'kg', places)} {unit('kg')}"


def bag(bag_kg: float) -> str:
    """What a bag weighs, in kg first since it is sold so.

    >>> bag(25.0)
    '25 kg'
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     bag(25.0)
    '25 kg (55 lb)'
    """
    return f"{bag_kg:g} kg ({bag_kg / KG_PER_LB:.0f} lb)" if imperial() else f"{bag_kg:g} kg"


def temperature(celsius: float) -> str:
    """A temperature, with a decimal where it has one: half a degree apart must look so.

    >>> temperature(18.0)
    '18 °C'
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     temperature(18.0), temperature(17.5), temperature(20.0)
    ('64.4 °F', '63.5 °F', '68 °F')
    """
    return f"{round(celsius * 9.0 / 5.0 + 32.0, 1):g} °F" if imperial() else f"{celsius:g} °C"


def fall(mm_per_m: float, places: int = 1) -> str:
    """How steep a floor or a tile is, mm in a metre or inches in a foot.

    >>> fall(11.54)
    '11.5 mm/m'
    >>> from flatscan.said import speaking
    >>> with speaking("imperial"):
    ...     fall(11.54)
    '0.138 in/ft'
    """
    return f"{number(mm_per_m, 'mm/m', places)} {unit('mm/m')}"


def counted(number: int, name: str) -> str:
    """A number of things.

    >>> counted(1, "lip"), counted(3, "lip")
    ('1 lip', '3 lips')
    """
    return f"{number} {name}{'' if number == 1 else 's'}"
