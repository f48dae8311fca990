"""Libraries of general purpose as the reference: humid air, aerofoils, indices, rare failures, fits.

They come with the extra ``reference``, which ``.ci/run`` installs before it runs these.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from typing import Any

import numpy as np
import pytest

from explorer.estimators.rare import rare_failure
from explorer.graph.quantity import Usual
from explorer.logs.fitting.least_squares import fit_curve
from explorer.logs.fitting.problem import Observations, Parameter
from explorer.model.aero import wing_geometry
from explorer.model.mechanism import hinge
from tests.model_help import DEGREE, evaluate, value
from tests.saltelli import evaluated, indices, ishigami, unit_design
from tests.statistics_help import within

pytestmark = [
    pytest.mark.long,
    # What other people's libraries warn of is theirs.
    pytest.mark.filterwarnings("ignore"),
]
REYNOLDS = [1e5, 2e5, 4e5]


@pytest.fixture(autouse=True)
def libraries() -> None:
    missing = [name for name in ("CoolProp", "neuralfoil", "openturns", "lmfit") if find_spec(name) is None]
    assert missing == [], "these tests want the extra: pip install '.[reference]'"


def usual_range(declared: Any) -> tuple[float, float]:
    """Return the usual range of a given quantity."""
    usual: Usual = declared.usual
    return float(usual.low), float(usual.high)


def test_density_of_humid_air() -> None:
    """Independent library: CoolProp's HAPropsSI over weather and altitude, within 1e-4.

    Temperatures near those that the equation is made for.
    """
    from CoolProp.HumidAirProp import HAPropsSI

    grid = np.meshgrid([283.15, 293.15, 303.15], [80e3, 95e3, 103e3], [0.0, 0.4, 0.9], indexing="ij")
    kelvin, pascal, humidity = (axis.ravel() for axis in grid)
    found = value("air_density", air_temperature=kelvin, air_pressure=pascal, relative_humidity=humidity)
    theirs = [
        1 / HAPropsSI("Vha", "T", t, "P", p, "R", r) for t, p, r in zip(kelvin, pascal, humidity, strict=True)
    ]
    np.testing.assert_allclose(found, theirs, rtol=1e-4)


@cache
def airfoil(name: str, flap: float = 0.0, deflection: float = 0.0) -> Any:
    """Return an aerofoil of the library, with a plain flap on a share of its chord."""
    import aerosandbox

    plain = aerosandbox.Airfoil(name)
    return plain.add_control_surface(deflection=deflection, hinge_point_x=1 - flap) if flap else plain


def polar(section: Any, degrees: Any, reynolds: float) -> dict[str, Any]:
    """Return lift, drag and pitching moment of a section by the library."""
    from neuralfoil import get_aero_from_airfoil

    found: dict[str, Any] = get_aero_from_airfoil(section, alpha=np.atleast_1d(degrees), Re=reynolds)
    return found


@pytest.mark.parametrize("reynolds", REYNOLDS)
@pytest.mark.parametrize("name", ["naca0012", "naca4412"])
def test_slope_of_a_section(name: str, reynolds: float) -> None:
    """Independent library: neuralfoil, lift from -2 to 6 degrees; the slope of theory within 25 %.

    The file tells a builder to give the factor on the downforce a standard deviation of 20 %.
    """
    degrees = np.linspace(-2, 6, 9)
    slope = np.polyfit(np.radians(degrees), polar(airfoil(name), degrees, reynolds)["CL"], 1)[0]
    found = value("wing_lift_slope", {"wing": "geometry"}, wing_aspect_ratio=1e8)
    assert abs(found / slope - 1) < (0.25 if reynolds < 2e5 else 0.2)


@pytest.mark.parametrize("reynolds", REYNOLDS)
def test_share_of_the_flap_effect_that_is_left(reynolds: float) -> None:
    """Independent library: neuralfoil, lift gained by a plain flap at 10 degrees over that of theory.

    It lies in the range that is called usual, low at a Reynolds number of 1e5, near one at 4e5.
    """
    low, high = usual_range(wing_geometry.flap_viscous_share)
    for name in ("naca0012", "naca4412"):
        bare = polar(airfoil(name), 0.0, reynolds)["CL"][0]
        for flap in (0.2, 0.3, 0.4):
            gained = polar(airfoil(name, flap, 10.0), 0.0, reynolds)["CL"][0] - bare
            theory = 2 * np.pi * value("flap_effectiveness", {"wing": "geometry"}, flap_chord_share=flap)
            assert low <= gained / (theory * 10 * DEGREE) <= 1.05 * high


@pytest.mark.parametrize("reynolds", REYNOLDS)
def test_stall_of_a_section_with_its_flap_shut(reynolds: float) -> None:
    """Independent library: neuralfoil, highest lift of NACA 4412 with a plain flap of 30 % at 20 degrees.

    Far from what the library was taught (it says so itself); the default is a judgement of the same size.
    """
    highest = float(np.max(polar(airfoil("naca4412", 0.3, 20.0), np.linspace(0, 18, 37), reynolds)["CL"]))
    low, high = usual_range(wing_geometry.wing_highest_downforce_coefficient)
    assert low < highest < high
    section = {"wing_area": 1.0, "wing_span": 1e4, "wing_incidence": 1.0, "flap_chord_share": 0.3}
    section |= {"flap_deflection_closed": 0.35, "flap_deflection_open": 0.0, "wing_downforce_factor": 1.0}
    found = value("wing_downforce_coefficient", {"wing": "geometry"}, **section)
    assert found == pytest.approx(highest, rel=0.1)


@pytest.mark.parametrize("reynolds", REYNOLDS)
@pytest.mark.parametrize("name", ["naca0012", "naca4412"])
def test_pitching_moment_is_a_hinge_moment_by_its_centre_of_pressure(name: str, reynolds: float) -> None:
    """Independent library: neuralfoil, moment about the quarter chord carried over to a pivot at mid chord.

    The centre of pressure that it means lies in the range that is called usual.
    """
    angle, chord, span, pressure = 6.0, 0.03, 0.248, 0.6 * 50.0**2
    found = polar(airfoil(name), angle, reynolds)
    lift, drag, moment = (float(found[one][0]) for one in ("CL", "CD", "CM"))
    normal = lift * np.cos(np.radians(angle)) + drag * np.sin(np.radians(angle))
    centre = 0.25 - moment / normal
    low, high = usual_range(hinge.element_pressure_fraction_open)
    assert low < centre < high
    element = {
        "element_chord": chord,
        "element_span": span,
        "element_pivot_fraction": 0.5,
        "element_mass": 0.0,
    }
    element |= {f"element_normal_coefficient_{end}": normal for end in ("closed", "open")}
    element |= {f"element_pressure_fraction_{end}": centre for end in ("closed", "open")}
    element |= {"element_opening": 0.0, "element_mass_fraction": 0.5, "dynamic_pressure": pressure}
    element |= {"element_design_incidence_closed": 0.1, "element_design_incidence_open": 0.0}
    hinged = evaluate(["element_closing_moment"], element, families={"element": ("element",)})
    # About the pivot: the library's moment, nose-up, and the force a quarter of the chord ahead.
    expected = pressure * chord**2 * span * (moment + normal * 0.25)
    assert hinged["element_closing_moment"] == pytest.approx(expected, rel=1e-9)


def test_indices_of_sobol() -> None:
    """Independent library: openturns, Saltelli's estimates of Ishigami's function with their own spread."""
    import openturns as ot

    ot.RandomGenerator.SetSeed(1)
    cube = ot.JointDistribution([ot.Uniform(0, 1)] * 3)
    points = ot.SobolIndicesExperiment(cube, 4096, False).generate()
    theirs = ot.SaltelliSensitivityAlgorithm(points, ot.Sample(ishigami(np.array(points))[:, None]), 4096)
    (ours,) = indices(
        evaluated(ishigami, unit_design(3, 2048, 16, seed=1)), ["x1", "x2", "x3"], confidence=0.9999
    )
    mine = {one.name: one for one in ours.indices}
    for at, name in enumerate(("x1", "x2", "x3")):
        assert mine[name].first.value == pytest.approx(theirs.getFirstOrderIndices()[at], abs=0.05)
        assert mine[name].total.value == pytest.approx(theirs.getTotalOrderIndices()[at], abs=0.05)


def test_a_rare_limit() -> None:
    """Independent library: openturns, its subset sampling and FORM on a curved limit in four dimensions."""
    import openturns as ot

    def margin(u: np.ndarray) -> np.ndarray:
        return 4.0 - u[:, 0] - 0.3 * u[:, 1] + 0.1 * u[:, 2] ** 2 + 0.05 * u[:, 3] ** 2

    ot.RandomGenerator.SetSeed(2)
    space = ot.Normal(4)
    limit = ot.PythonFunction(4, 1, func_sample=lambda points: margin(np.array(points))[:, None])
    event = ot.ThresholdEvent(ot.CompositeRandomVector(limit, ot.RandomVector(space)), ot.Less(), 0.0)
    walk = ot.SubsetSampling(event)
    walk.setMaximumOuterSampling(200)
    walk.setBlockSize(200)
    walk.run()
    theirs = walk.getResult()
    found = rare_failure(margin, 4, seed=3)
    spread = float(np.hypot(theirs.getStandardDeviation(), found.variation * found.probability))
    assert within(found.probability, theirs.getProbabilityEstimate(), spread)
    form = ot.FORM(ot.Cobyla(), event, [0.0] * 4)
    form.run()
    assert found.distance == pytest.approx(form.getResult().getHasoferReliabilityIndex(), rel=1e-3)


def test_a_fit_and_its_spread() -> None:
    """Independent library: lmfit's minimize on a noisy coast-down: estimates and their errors."""
    import lmfit

    time = np.linspace(0, 20, 120)
    truth = np.array([40.0, 0.028, 0.14])

    def slowing(b: np.ndarray) -> np.ndarray:
        root, reach = np.sqrt(b[2] / b[1]) * 5, np.sqrt(b[1] * b[2]) / 5
        return np.asarray(root * np.tan(np.arctan(b[0] / root) - reach * time))

    speed = slowing(truth) + np.random.default_rng(4).normal(0, 0.1, time.size)
    names, starts = ("start", "square", "constant"), (35.0, 0.02, 0.2)
    rows = Observations.single(
        speed, time, name="speed", unit="m/s", abscissa_name="time", run=np.arange(time.size)
    )
    ours = fit_curve(
        lambda b, _: slowing(b),
        rows,
        [Parameter(name, "1", start) for name, start in zip(names, starts, strict=True)],
        kind="coast-down",
        loss="linear",
    )
    given_to_lmfit = lmfit.Parameters()
    for name, start in zip(names, starts, strict=True):
        given_to_lmfit.add(name, value=start, min=1e-6)
    theirs = lmfit.minimize(
        lambda found: slowing(np.array([found[name].value for name in names])) - speed, given_to_lmfit
    )
    for at, name in enumerate(names):
        assert ours.estimates[at] == pytest.approx(theirs.params[name].value, rel=1e-4)
        assert ours.standard_uncertainties[at] == pytest.approx(theirs.params[name].stderr, rel=0.01)
