"""Estimators and samplers against SALib, scipy.stats and OpenTURNS: the same job on the same numbers."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable, Iterator

import numpy as np

from explorer.engine.sampling import random_column, sobol_columns
from explorer.estimators.sensitivity import Sensitivity
from explorer.graph.arrays import Array
from explorer.study.distributions import Normal, TruncatedNormal
from explorer.study.distributions_between_limits import Pert, Uniform
from tests.saltelli import indices

from .timing import WITHOUT_OPENTURNS, by_turns, openturns_on_one_thread, ratio

Row = tuple[str, str]
INPUTS, OUTPUTS, POWER = 20, 15, 14
NAMES = tuple(f"x{number}" for number in range(INPUTS))


def evaluations(power: int) -> Array:
    """Return outputs of a polynomial on a random Sobol analysis: shape (rows, blocks, outputs)."""
    generator = np.random.Generator(np.random.Philox(20261))
    rows = 2**power
    first, second = generator.random((2, rows, INPUTS))
    weights = generator.standard_normal((INPUTS, OUTPUTS))
    blocks = [first]
    for base, other in ((first, second), (second, first)):
        for place in range(INPUTS):
            mixed = base.copy()
            mixed[:, place] = other[:, place]
            blocks.append(mixed)
    blocks.append(second)
    return np.stack([block @ weights + (block**2) @ weights[::-1] for block in blocks], axis=1)


def ours(block: Array) -> tuple[Sensitivity, ...]:
    """Estimate all indices of all outputs, intervals included."""
    split = block.reshape(8, -1, *block.shape[1:])
    return indices(split, NAMES)


def salib(block: Array, outputs: int) -> None:
    """Let SALib do so, output by output, with its usual 100 resamples."""
    from SALib.analyze import sobol

    problem = {"num_vars": INPUTS, "names": list(NAMES), "bounds": [[0.0, 1.0]] * INPUTS}
    plain = np.concatenate([block[:, : INPUTS + 1], block[:, -1:]], axis=1)
    for output in range(outputs):
        sobol.analyze(problem, plain[..., output].ravel(), calc_second_order=False, num_resamples=100, seed=1)


def seconds(job: Callable[[], object]) -> float:
    """Time one call in the calling thread's processor time."""
    start = time.thread_time()
    job()
    return time.thread_time() - start


def sobol_against_salib(full: bool) -> Iterator[Row]:
    """Time all indices at 2**14 base samples; SALib extrapolated from fewer unless everything is run."""
    block = evaluations(POWER)
    salib(block[:256], 1)
    replicated = statistics.median(by_turns({"ours": lambda: ours(block)}, 3)["ours"])
    if full:
        theirs, how = seconds(lambda: salib(block, OUTPUTS)), "run whole"
    else:
        # Its outputs are a plain loop, so three of them cost a fifth of fifteen.
        few, small, large = 3, 11, 12
        at = {power: seconds(lambda power=power: salib(block[: 2**power], few)) for power in (small, large)}
        growth = math.log2(at[large] / at[small]) / (large - small)
        theirs = at[large] * OUTPUTS / few * 2 ** (growth * (POWER - large))
        how = f"SALib from 2^11 and 2^12, exponent {growth:.2f}"
    words = f"2^{POWER} base samples, {INPUTS} inputs, {OUTPUTS} outputs ({how})"
    yield f"SALib over ours, intervals by 8 replicates; {words}", f"{theirs / replicated:.0f}"


def quantiles(full: bool) -> Iterator[Row]:
    """Time inverse distribution functions against scipy.stats."""
    from scipy import stats

    count = 2**18 if full else 2**16
    u = random_column(1, "x", 0, count)
    pert = Pert(0.0, 0.3, 1.0)
    pairs = {
        "normal": (Normal(1.0, 2.0), stats.norm(1.0, 2.0)),
        "truncated normal": (TruncatedNormal(0.0, 1.0, -1.0, 2.0), stats.truncnorm(-1.0, 2.0)),
        "uniform": (Uniform(0.0, 1.0), stats.uniform()),
        "PERT": (pert, stats.beta(*pert.shapes)),
    }
    for name, (own, theirs) in pairs.items():
        np.testing.assert_allclose(own.quantile(u), theirs.ppf(u), rtol=1e-6, atol=1e-7)
        times = by_turns({"own": lambda own=own: own.quantile(u), "scipy": lambda t=theirs: t.ppf(u)}, 3)
        yield f"scipy.stats over ours, quantiles: {name}", f"{ratio(times, 'scipy', 'own'):.1f}"
    jobs = {
        "own": lambda: sobol_columns(1, NAMES, 0, POWER),
        "scipy": lambda: stats.qmc.Sobol(INPUTS, rng=1).random_base2(POWER),
    }
    times = by_turns(jobs, 3)
    yield "scipy.stats.qmc over ours, scrambled Sobol points", f"{ratio(times, 'scipy', 'own'):.1f}"


def openturns(full: bool) -> Iterator[Row]:
    """Time drawing and ranking against OpenTURNS, where it is installed."""
    if (ot := openturns_on_one_thread()) is None:
        yield WITHOUT_OPENTURNS
        return
    count = 2**16
    joint = ot.JointDistribution([ot.Normal(1.0, 2.0)] * INPUTS)
    normal = Normal(1.0, 2.0)

    def draw() -> list[Array]:
        return [normal.quantile(random_column(1, name, 0, count)) for name in NAMES]

    times = by_turns({"own": draw, "ot": lambda: joint.getSample(count)}, 3)
    yield f"OpenTURNS over ours, drawing {INPUTS} normal inputs", f"{ratio(times, 'ot', 'own'):.1f}"

    power, few = (POWER, OUTPUTS) if full else (12, 3)
    block = evaluations(power)
    rows = len(block)
    first, *changed, second = (block[:, place] for place in (0, *range(1, INPUTS + 1), -1))
    stacked = np.concatenate([first, second, *changed])[:, :few]
    design = ot.Sample(rows * (INPUTS + 2), INPUTS)

    def rank() -> None:
        for output in range(few):
            values = ot.Sample(stacked[:, output : output + 1])
            found = ot.SaltelliSensitivityAlgorithm(design, values, rows)
            found.setUseAsymptoticDistribution(False)
            found.setBootstrapSize(100)
            found.getFirstOrderIndicesInterval()
            found.getTotalOrderIndicesInterval()

    theirs, own = seconds(rank) * OUTPUTS / few, seconds(lambda: ours(block))
    yield f"OpenTURNS over ours, ranking as above at 2^{power}", f"{theirs / own:.0f}"
