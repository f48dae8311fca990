"""The air against the standards."""

from __future__ import annotations

import pytest

from tests.checking import checks
from tests.model_help import value


@pytest.mark.parametrize(
    ("altitude", "pressure"), [(0, 101325), (500, 95461), (1000, 89875), (2000, 79495), (3000, 70109)]
)
@checks("air_pressure")
def test_pressure_of_the_standard_atmosphere(altitude: float, pressure: float) -> None:
    """Source: ISO 2533:1975, clause 2, geopotential altitude; numbers from its formula."""
    assert value("air_pressure", altitude=float(altitude)) == pytest.approx(pressure, abs=0.5)


@pytest.mark.parametrize(
    ("celsius", "pascal", "humidity", "density"),
    [
        (20, 101325, 0.5, 1.1993),
        (20, 101325, 0.0, 1.2046),
        (23, 101325, 0.5, 1.1861),
        (30, 101325, 0.8, 1.1500),
        (25, 95000, 0.6, 1.1020),
    ],
)
@checks("air_density")
def test_density_of_moist_air(celsius: float, pascal: float, humidity: float, density: float) -> None:
    """Source: CIPM-2007, Picard et al., Metrologia 45 (2008), pp. 149-155; numbers from its formula."""
    found = value(
        "air_density",
        air_temperature=celsius + 273.15,
        air_pressure=float(pascal),
        relative_humidity=float(humidity),
    )
    assert found == pytest.approx(density, abs=6e-5)


@pytest.mark.parametrize(("altitude", "kelvin", "density"), [(0, 288.15, 1.2250), (2000, 275.15, 1.0065)])
def test_dry_standard_air_is_near_the_standard_density(
    altitude: float, kelvin: float, density: float
) -> None:
    """Source: ISO 2533:1975, clause 2, density of an ideal gas: within 0.06 % of the newer standard."""
    found = value("air_density", altitude=float(altitude), air_temperature=kelvin, relative_humidity=0.0)
    assert found == pytest.approx(density, rel=6e-4)


def test_moist_air_is_lighter() -> None:
    """Value from memory: a molecule of water is lighter (18) than one of air (29)."""
    dry, moist = (
        value("air_density", air_temperature=303.15, air_pressure=101325.0, relative_humidity=h)
        for h in (0.0, 1.0)
    )
    assert moist < dry
