"""Worked examples of the GUM and certified regressions of NIST."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision.uncertainty import (
    Component,
    LeastSquaresFit,
    combine,
    coverage_factor,
    mean_of_repeats,
    propagate,
    propagate_distributions,
    weighted_least_squares,
    welch_satterthwaite,
)

# JCGM 100:2008, H.2.2, table H.2: five simultaneous readings.
VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])

# JCGM 100:2008, H.3, table H.6: thermometer readings and corrections.
READING_C = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION_C = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)

# NIST StRD, linear regression, data set Norris (public domain); columns y, x.
NORRIS = np.array(
    [
        [0.1, 0.2], [338.8, 337.4], [118.1, 118.2], [888.0, 884.6], [9.2, 10.1], [228.1, 226.5],
        [668.5, 666.3], [998.5, 996.3], [449.1, 448.6], [778.9, 777.0], [559.2, 558.2], [0.3, 0.4],
        [0.1, 0.6], [778.1, 775.5], [668.8, 666.9], [339.3, 338.0], [448.9, 447.5], [10.8, 11.6],
        [557.7, 556.0], [228.3, 228.1], [998.0, 995.8], [888.8, 887.6], [119.6, 120.2], [0.3, 0.3],
        [0.6, 0.3], [557.6, 556.8], [339.3, 339.1], [888.0, 887.2], [998.5, 999.0], [778.9, 779.0],
        [10.2, 11.1], [117.6, 118.3], [228.9, 229.2], [668.4, 669.1], [449.2, 448.9], [0.2, 0.5],
    ]
)  # fmt: skip


def test_end_gauge_h1_comes_out_as_published() -> None:
    difference = combine(
        [
            Component(name="repeats", u=13.0 / math.sqrt(5.0), dof=24),
            Component(name="comparator, random", u=10.0 / coverage_factor(5, 0.95), dof=5),
            Component(name="comparator, systematic", u=20.0 / 3.0, dof=8),
        ]
    )
    assert [round(part.u, 1) for part in difference.components] == [6.7, 5.8, 3.9]
    assert difference.u == pytest.approx(9.7, abs=0.05)
    assert difference.dof == pytest.approx(25.6, abs=0.05)

    length_nm = 50.000623e6
    budget = combine(
        [
            Component(name="standard", u=75.0 / 3.0, dof=18),
            Component(name="difference", u=difference.u, dof=difference.dof),
            Component(name="expansion", u=length_nm * 0.1 * 1e-6 / math.sqrt(3.0), dof=50),
            Component(name="temperatures", u=length_nm * 11.5e-6 * 0.05 / math.sqrt(3.0), dof=2),
        ],
        level=0.99,
    )
    assert [round(part.u, 1) for part in budget.components] == [25.0, 16.6, 9.7, 2.9]
    assert budget.u == pytest.approx(31.66, abs=0.05)
    assert budget.dof == pytest.approx(16.7, abs=0.1)
    # H.1.6 truncates the degrees of freedom to 16: t99 = 2.92, U = 93 nm.
    assert round(coverage_factor(math.floor(budget.dof), 0.99), 2) == 2.92
    assert coverage_factor(16, 0.99) * budget.u == pytest.approx(93.0, abs=0.6)
    assert budget.largest is not None
    assert budget.largest.name == "standard"


def test_impedance_h2_keeps_the_correlations() -> None:
    means = [mean_of_repeats(values) for values in (VOLT, AMPERE * 1e3, PHASE)]
    assert [round(part.u_mean, 4) for part in means[:2]] == [0.0032, 0.0095]
    assert means[2].u_mean == pytest.approx(0.00075, abs=5e-6)

    volt, ampere, phase = means[0].mean, means[1].mean * 1e-3, means[2].mean
    size = volt / ampere
    jacobian = np.array(
        [
            [math.cos(phase) / ampere, -size * math.cos(phase) / ampere, -size * math.sin(phase)],
            [math.sin(phase) / ampere, -size * math.sin(phase) / ampere, size * math.cos(phase)],
            [1.0 / ampere, -size / ampere, 0.0],
        ]
    )
    covariance = np.cov(np.vstack([VOLT, AMPERE, PHASE])) / 5.0
    spread = propagate(jacobian, covariance)
    u = np.sqrt(np.diag(spread))
    assert [size * math.cos(phase), size * math.sin(phase), size] == pytest.approx(
        [127.732, 219.847, 254.260], abs=5e-4
    )
    assert list(u) == pytest.approx([0.0711, 0.2956, 0.2363], abs=5e-5)
    r = spread / np.outer(u, u)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=5e-4)
    # Without the correlations all three come out near 0.2: the trap of this example.
    naive = np.sqrt(np.diag(propagate(jacobian, np.diag(np.diag(covariance)))))
    assert list(naive) == pytest.approx([0.195, 0.201, 0.204], abs=1e-3)


def test_a_correlated_budget_gives_the_impedance_of_h2() -> None:
    sizes = [mean_of_repeats(values).u_mean for values in (VOLT, AMPERE)]
    volt, ampere = VOLT.mean(), AMPERE.mean()
    coefficient = np.corrcoef(VOLT, AMPERE)[0, 1]
    assert coefficient == pytest.approx(-0.355, abs=5e-4)
    budget = combine(
        [
            Component(name="voltage", u=sizes[0] / ampere, dof=4),
            Component(name="current", u=volt / ampere**2 * sizes[1], dof=4),
        ],
        # The sensitivity to the current is negative.
        correlation=np.array([[1.0, -coefficient], [-coefficient, 1.0]]),
    )
    assert budget.u == pytest.approx(0.2363, abs=5e-5)
    assert budget.dof == 4


def test_thermometer_line_h3_and_its_prediction() -> None:
    offset = READING_C - 20.0
    fit = weighted_least_squares(np.column_stack([np.ones(11), offset]), CORRECTION_C)
    assert isinstance(fit, LeastSquaresFit)
    u = np.sqrt(np.diag(fit.covariance))
    assert list(fit.parameters) == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert u[0] == pytest.approx(0.0029, abs=5e-5)
    assert u[1] == pytest.approx(0.00067, abs=5e-6)
    assert fit.covariance[0, 1] / (u[0] * u[1]) == pytest.approx(-0.930, abs=5e-4)
    assert fit.dof == 9
    assert fit.chi2 == pytest.approx(1.10096583e-4, rel=1e-8)
    assert math.sqrt(fit.chi2 / fit.dof) == pytest.approx(0.0035, abs=5e-5)
    at_30 = np.array([[1.0, 10.0]])
    assert float((at_30 @ fit.parameters)[0]) == pytest.approx(-0.1494, abs=5e-5)
    assert math.sqrt(propagate(at_30, fit.covariance)[0, 0]) == pytest.approx(0.0041, abs=5e-5)


def test_norris_line_reaches_the_certified_values() -> None:
    y, x = NORRIS.T
    fit = weighted_least_squares(np.column_stack([np.ones(36), x]), y)
    assert isinstance(fit, LeastSquaresFit)
    assert list(fit.parameters) == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert list(np.sqrt(np.diag(fit.covariance))) == pytest.approx(
        [0.232818234301152, 0.000429796848199937], rel=1e-10
    )
    assert fit.chi2 == pytest.approx(26.6173985294224, rel=1e-10)
    assert math.sqrt(fit.chi2 / fit.dof) == pytest.approx(0.884796396144373, rel=1e-10)


@pytest.mark.parametrize(
    ("dof", "t95", "t99"),
    [
        (2, 4.30, 9.92),
        (3, 3.18, 5.84),
        (5, 2.57, 4.03),
        (8, 2.31, 3.36),
        (10, 2.23, 3.17),
        (16, 2.12, 2.92),
        (20, 2.09, 2.85),
        (50, 2.01, 2.68),
    ],
)
def test_t_factors_are_those_of_table_g2(dof: int, t95: float, t99: float) -> None:
    assert coverage_factor(dof, 0.95) == pytest.approx(t95, abs=5e-3)
    assert coverage_factor(dof, 0.99) == pytest.approx(t99, abs=5e-3)


def test_welch_satterthwaite_of_equal_components_adds_their_freedom() -> None:
    # Two equal variances of nu each: (2 s^2)^2 / (2 s^4 / nu) = 2 nu.
    assert welch_satterthwaite([3e-9, 3e-9], [4, 4]) == pytest.approx(8.0)


def _normal(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.normal(size=n)


def _rectangular(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), n)


def _wide(rng: np.random.Generator, n: int) -> np.ndarray:
    return 10.0 * _rectangular(rng, n)


def _sum(*parts: np.ndarray) -> np.ndarray:
    return np.asarray(np.sum(parts, axis=0))


@pytest.mark.parametrize(
    ("samplers", "u", "half_width", "tolerance"),
    [
        # JCGM 101:2008, 9.2.2 to 9.2.4: normal, rectangular, one dominant rectangular.
        ([_normal] * 4, 2.0, 3.92, 0.02),
        ([_rectangular] * 4, 2.0, 2.0 * math.sqrt(3.0) * (2.0 - 0.6**0.25), 0.02),
        ([_rectangular] * 3 + [_wide], 10.149, 17.02, 0.05),
    ],
)
def test_distributions_are_propagated_as_in_jcgm_101(
    samplers: list[object], u: float, half_width: float, tolerance: float
) -> None:
    rng = np.random.default_rng(20)
    result = propagate_distributions(_sum, samplers, 400_000, rng, level=0.95)  # type: ignore[arg-type]  # parametrised, so erased
    assert result.u == pytest.approx(u, rel=0.005)
    assert (result.high - result.low) / 2.0 == pytest.approx(half_width, abs=tolerance)
    assert result.mean == pytest.approx(0.0, abs=5.0 * u / math.sqrt(400_000))
    # Symmetric, so the shortest interval is as long (the ends are flat: it may sit aside).
    assert result.shortest[1] - result.shortest[0] == pytest.approx(
        result.high - result.low, rel=0.01
    )


def test_the_linear_formula_is_too_wide_for_a_dominant_rectangle() -> None:
    budget = combine(
        [Component(name=f"small {i}", u=1.0) for i in range(3)] + [Component(name="wide", u=10.0)],
        level=0.95,
    )
    assert budget.expanded == pytest.approx(19.9, abs=0.05)  # JCGM 101:2008, 9.2.4
