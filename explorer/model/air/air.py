"""The air: its pressure at an altitude and its density with moisture."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Usual, given, quantity

air_temperature = given(
    "K",
    "Temperature of the air at the track.",
    above=200,
    at_most=350,
    usual="-10 to 45 degC",
    of_the_day=True,
)
relative_humidity = given(
    "1",
    "Relative humidity of the air, 0 to 1.",
    default=0.5,
    at_least=0,
    at_most=1,
    usual="5 to 100 %",
    of_the_day=True,
)
altitude = given(
    "m",
    "Geopotential altitude of the track; used for the air pressure when no pressure is given.",
    default=0.0,
    at_least=-1000,
    at_most=11000,
    usual="-400 to 3000 m",
)


@quantity(
    "Pa",
    source="ISO 2533:1975, layer of 0 to 11 km",
    of_the_day=True,
    usual=Usual("690 hPa", None, "1060 hPa", source="ISO 2533:1975 up to 3000 m, and weather (judgement)"),
)
def air_pressure(altitude: Array) -> Array:
    """Pressure of the standard atmosphere at the altitude of the track.

    Give the pressure itself when a barometer stands at the track: weather moves it by a few percent.
    """
    lapse, ground_temperature, ground_pressure = -0.0065, 288.15, 101325.0
    exponent = 9.80665 / (287.05287 * lapse)
    return ground_pressure * (1 + lapse * altitude / ground_temperature) ** -exponent


@quantity(
    "kg/m3",
    source="CIPM-2007 equation, Picard et al., Metrologia 45 (2008) 149-155",
    of_the_day=True,
    usual="0.95 to 1.35 kg/m3",
)
def air_density(air_temperature: Array, air_pressure: Array, relative_humidity: Array) -> Array:
    """Density of moist air with 400 parts per million of carbon dioxide."""
    kelvin, celsius = air_temperature, air_temperature - 273.15
    saturation = np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * air_pressure + 5.6e-7 * celsius**2
    vapour = relative_humidity * enhancement * saturation / air_pressure
    dense = air_pressure / kelvin
    compressibility = (
        1
        - dense
        * (
            (1.58123e-6 - 2.9331e-8 * celsius + 1.1043e-10 * celsius**2)
            + (5.707e-6 - 2.051e-8 * celsius) * vapour
            + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
        )
        + dense**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    return 3.483740e-3 * dense / compressibility * (1 - 0.3780 * vapour)
