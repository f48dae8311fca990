"""Worked examples of the standards on uncertainty and conformity, as a study that the command line runs."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import norm

from tests.statistics_help import within

pytestmark = pytest.mark.long

SAMPLES = 200_000
ROOT3 = math.sqrt(3.0)

OWN = '''
"""What the worked examples compute."""

from explorer import given, quantity

normal_1, normal_2, normal_3, normal_4 = (given("1", "One of four normal values.") for _ in range(4))
even_1, even_2, even_3, even_4 = (given("1", "One of four rectangular values.") for _ in range(4))
wide = given("1", "A rectangular value ten times as wide.")
conventional_mass = given("mg", "Conventional mass of the reference weight, found.")
added_mass = given("mg", "Conventional mass of the small weight added to it.")
air_density_there = given("kg/m3", "Density of the air at the balance.")
weight_density = given("kg/m3", "Density of the weight that is calibrated.")
reference_density = given("kg/m3", "Density of the reference weight.")
real_part, other_real_part = (given("1", "Real part of the reflection.") for _ in range(2))
imaginary_part, other_imaginary_part = (given("1", "Imaginary part of the reflection.") for _ in range(2))
standard_length = given("m", "Length of the standard gauge block.")
length_difference = given("m", "Difference of both blocks by the comparator.")
random_effects, systematic_effects = (given("m", "What the comparator adds.") for _ in range(2))
expansion = given("1/K", "Expansion of the standard block per degree.")
mean_temperature = given("1", "Mean deviation of the bed from 20 degrees, in degrees.")
cycle = given("1", "Swing of the temperature about that, in degrees.")
expansion_difference = given("1/K", "By how much the blocks differ in expansion.")
temperature_difference = given("1", "By how much they differ in temperature, in degrees.")
breakdown_voltage = given("V", "Breakdown voltage of a diode.")
viscosity = given("m2/s", "Kinematic viscosity of an oil.")


@quantity("1", source="JCGM 101:2008, 9.2.1")
def four_normal_values(normal_1, normal_2, normal_3, normal_4):
    """Four normal values added."""
    return normal_1 + normal_2 + normal_3 + normal_4


@quantity("1", source="JCGM 101:2008, 9.2.1")
def four_even_values(even_1, even_2, even_3, even_4):
    """Four rectangular values added."""
    return even_1 + even_2 + even_3 + even_4


@quantity("1", source="JCGM 101:2008, 9.2.1")
def one_wide_value(even_1, even_2, even_3, wide):
    """Three rectangular values and one ten times as wide, added."""
    return even_1 + even_2 + even_3 + wide


@quantity("kg", source="JCGM 101:2008, 9.3.1")
def deviation_from_nominal(
    conventional_mass, added_mass, air_density_there, weight_density, reference_density
):
    """Conventional mass of the calibrated weight less 100 g."""
    buoyancy = (air_density_there - 1.2) * (1 / weight_density - 1 / reference_density)
    return (conventional_mass + added_mass) * (1 + buoyancy) - 0.1


@quantity("1", source="JCGM 101:2008, 9.4.1")
def comparison_loss(real_part, imaginary_part):
    """Loss of a power meter comparison."""
    return real_part**2 + imaginary_part**2


@quantity("1", source="JCGM 101:2008, 9.4.1")
def correlated_loss(other_real_part, other_imaginary_part):
    """Loss of a power meter comparison, both parts correlated."""
    return other_real_part**2 + other_imaginary_part**2


@quantity("m", source="JCGM 101:2008, 9.5.2")
def deviation_from_nominal_length(
    standard_length,
    length_difference,
    random_effects,
    systematic_effects,
    expansion,
    mean_temperature,
    cycle,
    expansion_difference,
    temperature_difference,
):
    """Length of a gauge block less 50 mm."""
    strain = expansion_difference * (mean_temperature + cycle) + expansion * temperature_difference
    read = length_difference + random_effects + systematic_effects
    return read + standard_length * (1 - strain) - 0.05
'''

STUDY = """
[study]
title = "Worked examples of the standards"
samples = {samples}
sensitivity_samples = 64
own_quantities = "own.py"

[inputs]
{normals}
{evens}
wide = {{ low = -{wide}, high = {wide}, unit = "1", source = "JCGM 101:2008, 9.2.4" }}
conventional_mass = {{ mean = 100000.000, sd = 0.050, unit = "mg", source = "JCGM 101:2008, table 5" }}
added_mass = {{ mean = 1.234, sd = 0.020, unit = "mg", source = "JCGM 101:2008, table 5" }}
air_density_there = {{ low = 1.10, high = 1.30, unit = "kg/m3", source = "JCGM 101:2008, table 5" }}
weight_density = {{ low = 7000, high = 9000, unit = "kg/m3", source = "JCGM 101:2008, table 5" }}
reference_density = {{ low = 7950, high = 8050, unit = "kg/m3", source = "JCGM 101:2008, table 5" }}
real_part = {{ mean = 0.010, sd = 0.005, unit = "1", source = "JCGM 101:2008, 9.4.2" }}
imaginary_part = {{ mean = 0, sd = 0.005, unit = "1", source = "JCGM 101:2008, 9.4.2" }}
other_real_part = {{ mean = 0.010, sd = 0.005, unit = "1", source = "JCGM 101:2008, 9.4.3" }}
other_imaginary_part = {{ mean = 0, sd = 0.005, unit = "1", source = "JCGM 101:2008, 9.4.3" }}
standard_length = {{ readings = {standard}, unit = "nm", source = "JCGM 101:2008, table 10" }}
length_difference = {{ readings = {difference}, unit = "nm", source = "JCGM 101:2008, table 10" }}
random_effects = {{ readings = {random}, unit = "nm", source = "JCGM 101:2008, table 10" }}
systematic_effects = {{ readings = {systematic}, unit = "nm", source = "JCGM 101:2008, table 10" }}
expansion = {{ low = 9.5e-6, high = 13.5e-6, unit = "1/K", source = "JCGM 101:2008, table 10" }}
mean_temperature = {{ mean = -0.1, sd = 0.2, unit = "1", source = "JCGM 101:2008, table 10" }}
cycle = {{ low = -0.5, high = 0.5, distribution = "arcsine", unit = "1", source = "JCGM 101:2008, table 10" }}
expansion_difference = {{ low = -1e-6, high = 1e-6, ends_within = 0.1e-6, unit = "1/K", source = "{gauge}" }}
temperature_difference = {{ low = -0.05, high = 0.05, ends_within = 0.025, unit = "1", source = "{gauge}" }}
breakdown_voltage = {{ mean = -5.47, sd = 0.05, unit = "V", source = "JCGM 106:2012, 7.3" }}
viscosity = {{ mean = 13.6, sd = 1.8, unit = "mm2/s", source = "JCGM 106:2012, 7.4" }}

[[correlations]]
between = ["other_real_part", "other_imaginary_part"]
value = 0.9
source = "JCGM 101:2008, 9.4.3"

[conditions.bench]
speed = "0 m/s"

[[outputs]]
quantities = [
    "four_normal_values", "four_even_values", "one_wide_value", "deviation_from_nominal",
    "comparison_loss", "correlated_loss", "deviation_from_nominal_length",
]
conditions = ["bench"]

[[limits]]
name = "breakdown of the diode"
quantity = "breakdown_voltage"
condition = "bench"
at_most = "-5.40 V"
probability = 0.9

[[limits]]
name = "grade of the oil"
quantity = "viscosity"
condition = "bench"
at_least = "12.5 mm2/s"
at_most = "16.3 mm2/s"
probability = 0.9
"""


@dataclass(frozen=True)
class Answer:
    """What the command printed for machines, and what it left in its folder."""

    limits: dict[str, Any]
    outputs: dict[str, Any]

    def interval(self, name: str) -> tuple[float, float]:
        """Return the symmetric 95 % interval of an output."""
        quantiles = dict(self.outputs[name]["quantiles"])
        return quantiles[0.025], quantiles[0.975]


def readings(mean: float, error: float, degrees_of_freedom: int) -> list[float]:
    """Return one reading more than the degrees of freedom, with this mean and standard error of it."""
    count = degrees_of_freedom + 1
    places = [place - degrees_of_freedom / 2 for place in range(count)]
    spread = error * math.sqrt(count * degrees_of_freedom / sum(place**2 for place in places))
    return [mean + spread * place for place in places]


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> Answer:
    """Run the study as a user does, once."""
    folder: Path = tmp_path_factory.mktemp("examples")
    normal = '{ mean = 0, sd = 1, unit = "1", source = "JCGM 101:2008, 9.2.2" }'
    even = f'{{ low = -{ROOT3}, high = {ROOT3}, unit = "1", source = "JCGM 101:2008, 9.2.3" }}'
    text = STUDY.format(
        samples=SAMPLES,
        normals="\n".join(f"normal_{i} = {normal}" for i in range(1, 5)),
        evens="\n".join(f"even_{i} = {even}" for i in range(1, 5)),
        wide=10 * ROOT3,
        gauge="JCGM 101:2008, 9.5",
        standard=readings(50_000_623, 25, 18),
        difference=readings(215, 6, 24),
        random=readings(0, 4, 5),
        systematic=readings(0, 7, 8),
    )
    (folder / "study.toml").write_text(text, encoding="utf-8")
    (folder / "own.py").write_text(OWN, encoding="utf-8")
    command = [sys.executable, "-m", "explorer", "run", str(folder), "--json", "--no-report", "--allow-code"]
    done = subprocess.run(
        [*command, "--engine", "threads"], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.stderr == ""
    printed = json.loads(done.stdout)
    summary = json.loads((Path(printed["folder"]) / "summary.json").read_text(encoding="utf-8"))
    return Answer(
        {limit["name"]: limit for limit in printed["limits"]},
        {output["quantity"]: output for output in summary["outputs"]},
    )


def agrees(answer: Answer, name: str, mean: float, sd: float, kurtosis: float, digit: float = 0.0) -> None:
    """Hold mean and standard deviation within four standard errors, and half a printed digit."""
    found = answer.outputs[name]
    assert abs(found["mean"] - mean) < digit / 2 + 4 * sd / math.sqrt(SAMPLES)
    assert abs(found["sd"] - sd) < digit / 2 + 4 * sd * math.sqrt((kurtosis - 1) / 4 / SAMPLES)


@pytest.mark.parametrize(
    ("name", "sd", "half", "kurtosis"),
    [
        ("four_normal_values", 2.0, 3.9199, 3.0),
        ("four_even_values", 2.0, 2 * ROOT3 * (2 - 0.6**0.25), 2.7),
        ("one_wide_value", math.sqrt(103), 17.016, 1.87),
    ],
)
def test_additive_models(answer: Answer, name: str, sd: float, half: float, kurtosis: float) -> None:
    """Source: JCGM 101:2008, 9.2.2 to 9.2.4: u 2.0, 2.0, 10.1; 95 % +-3.92, +-3.88, +-17.0 (formula)."""
    agrees(answer, name, 0.0, sd, kurtosis)
    # A quantile's standard error is sqrt(p q / n) over the density; here that of a normal value.
    error = math.sqrt(0.025 * 0.975 / SAMPLES) * sd / norm.pdf(norm.ppf(0.025))
    for end, expected in zip(answer.interval(name), (-half, half), strict=True):
        assert within(end, expected, error)


def test_mass_calibration(answer: Answer) -> None:
    """Source: JCGM 101:2008, 9.3, tables 5 and 6 (values from memory): 1.2341, u 0.0754 mg.

    95 % interval [1.0834, 1.3825] mg.
    """
    milligram = 1e-6
    agrees(answer, "deviation_from_nominal", 1.2341 * milligram, 0.0754 * milligram, 3.3, 1e-4 * milligram)
    error = math.sqrt(0.025 * 0.975 / SAMPLES) * 0.0754 * milligram / norm.pdf(norm.ppf(0.025)) * 1.2
    # The printed interval is the shortest one, found from as many trials; nearly symmetric.
    for end, expected in zip(answer.interval("deviation_from_nominal"), (1.0834, 1.3825), strict=True):
        assert abs(end - expected * milligram) < 0.001 * milligram + 4 * error


def test_gauge_block(answer: Answer) -> None:
    """Source: JCGM 101:2008, 9.5, tables 10 and 11 (values from memory): 838 nm, u 36 nm.

    The printed values have whole digits, from 1.3e6 trials.
    """
    agrees(answer, "deviation_from_nominal_length", 838e-9, 36e-9, 3.1, 1e-9)


@pytest.mark.parametrize(("name", "correlation"), [("comparison_loss", 0.0), ("correlated_loss", 0.9)])
def test_comparison_loss(answer: Answer, name: str, correlation: float) -> None:
    """Source: JCGM 101:2008, 9.4: x1 0.010, u 0.005: 150e-6, u 112e-6; E = x1^2 + 2 u^2 (formula)."""
    sd = math.sqrt(4 * 0.005**4 * (1 + correlation**2) + 4 * 0.010**2 * 0.005**2)
    agrees(answer, name, 150e-6, sd, 9.0)


@pytest.mark.parametrize(("name", "printed"), [("breakdown of the diode", 0.92), ("grade of the oil", 0.66)])
def test_conformance_probability(answer: Answer, name: str, printed: float) -> None:
    """Source: JCGM 106:2012, 7.3 and 7.4 (values from memory): a diode 92 %, an oil of grade 40 66 %."""
    exact = {
        "breakdown of the diode": norm.cdf(1.4),
        "grade of the oil": norm.cdf(1.5) - norm.cdf(-1.1 / 1.8),
    }
    found = answer.limits[name]
    assert found["probability"] == pytest.approx(printed, abs=0.005 + 4 * math.sqrt(0.25 / SAMPLES))
    error = math.sqrt(exact[name] * (1 - exact[name]) / SAMPLES)
    assert within(found["probability"], float(exact[name]), error)
    assert found["low"] - 4 * error < exact[name] < found["high"] + 4 * error
    assert found["verdict"] == ("pass" if exact[name] > 0.9 else "fail")
