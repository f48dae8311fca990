"""The units that people write: the unit library need not be loaded for them, a test holds them against it."""

from __future__ import annotations

from collections.abc import Sequence

_BASE = ("[length]", "[mass]", "[time]", "[current]", "[temperature]", "angle")
#: Unit with the factor 1 -> its powers of the base dimensions, and of the angle.
_COHERENT = {
    "m": (1, 0, 0, 0, 0, 0),
    "kg": (0, 1, 0, 0, 0, 0),
    "s": (0, 0, 1, 0, 0, 0),
    "A": (0, 0, 0, 1, 0, 0),
    "K": (0, 0, 0, 0, 1, 0),
    "rad": (0, 0, 0, 0, 0, 1),
    "Hz": (0, 0, -1, 0, 0, 0),
    "rad/s": (0, 0, -1, 0, 0, 1),
    "m/s": (1, 0, -1, 0, 0, 0),
    "m/s2": (1, 0, -2, 0, 0, 0),
    "m3": (3, 0, 0, 0, 0, 0),
    "N": (1, 1, -2, 0, 0, 0),
    "Pa": (-1, 1, -2, 0, 0, 0),
    "J": (2, 1, -2, 0, 0, 0),
    "W": (2, 1, -3, 0, 0, 0),
    "C": (0, 0, 1, 1, 0, 0),
    "V": (2, 1, -3, -1, 0, 0),
    "ohm": (2, 1, -3, -2, 0, 0),
    "F": (-2, -1, 4, 2, 0, 0),
    "1": (0, 0, 0, 0, 0, 0),
}
#: Coherent unit -> its multiples.
_MULTIPLES: dict[str, dict[str, float]] = {
    "m": {"km": 1e3, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "in": 0.0254, "ft": 0.3048, "yd": 0.9144},
    "m3": {"l": 1e-3},
    "kg": {"g": 1e-3, "lb": 0.45359237, "lbs": 0.45359237, "oz": 0.028349523125},
    "s": {"us": 1e-6, "ms": 1e-3, "min": 60.0, "h": 3600.0},
    "rad": {"mrad": 1e-3, "deg": 0.017453292519943295, "°": 0.017453292519943295},
    "rad/s": {"rpm": 0.10471975511965977, "rps": 6.283185307179586},
    "m/s": {"kph": 1 / 3.6, "mph": 0.44704, "knot": 1852 / 3600},
    "m/s2": {"g_0": 9.80665},
    "N": {"kN": 1e3, "kgf": 9.80665, "gf": 9.80665e-3, "lbf": 4.4482216152605, "ozf": 0.2780138509537813},
    "Pa": {
        "hPa": 1e2,
        "kPa": 1e3,
        "MPa": 1e6,
        "GPa": 1e9,
        "mbar": 1e2,
        "bar": 1e5,
        "atm": 101325.0,
        "psi": 6894.7572931683635,
        "inHg": 3386.388640341,
    },
    "J": {"kJ": 1e3, "mWh": 3.6, "Wh": 3600.0, "kWh": 3.6e6},
    "W": {"kW": 1e3, "hp": 745.69987158227},
    "C": {"mAh": 3.6, "Ah": 3600.0},
    "A": {"mA": 1e-3},
    "V": {"mV": 1e-3},
    "ohm": {"mohm": 1e-3},
    "1": {"percent": 1e-2},
}
#: Unit with a zero of its own -> factor and offset to kelvin.
_FROM_A_ZERO = {
    "degC": (1.0, 273.15),
    "°C": (1.0, 273.15),
    "degF": (5 / 9, 255.37222222222223),
}
USUAL = {name: (1.0, powers) for name, powers in _COHERENT.items()} | {
    name: (factor, _COHERENT[unit]) for unit, all_of in _MULTIPLES.items() for name, factor in all_of.items()
}

#: Factor and offset to SI, the base dimensions with their powers, and the power of the angle.
Composed = tuple[float, float, tuple[tuple[str, float], ...], float]


def composed(parts: Sequence[tuple[str, int]]) -> Composed | None:
    """Compose a unit of the usual ones in it; None where one of them is not."""
    factor, offset, powers = 1.0, 0.0, [0.0] * len(_BASE)
    if len(parts) == 1 and parts[0][0] in _FROM_A_ZERO and parts[0][1] == 1:
        factor, offset = _FROM_A_ZERO[parts[0][0]]
        parts = [("K", 1)]
    for name, power in parts:
        if name not in USUAL:
            return None
        size, of = USUAL[name]
        factor = factor * size**power if power > 0 else factor / size**-power
        powers = [have + power * one for have, one in zip(powers, of, strict=True)]
    named = zip(_BASE[:-1], powers[:-1], strict=True)
    return factor, offset, tuple(sorted(one for one in named if one[1])), powers[-1]
