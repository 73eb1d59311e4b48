"""Budgets, repeats and least squares: properties, refusals and wrong input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.uncertainty import (
    LEVEL_K2,
    Component,
    LeastSquaresFit,
    SingularDesign,
    combine,
    coverage_factor,
    mean_of_repeats,
    pooled_sd,
    propagate,
    propagate_distributions,
    weighted_least_squares,
    welch_satterthwaite,
)

sizes = st.lists(st.floats(0.0, 1e3), min_size=1, max_size=6)


def test_infinite_freedom_gives_exactly_two() -> None:
    assert coverage_factor(math.inf) == pytest.approx(2.0, abs=1e-12)
    assert pytest.approx(0.9545, abs=5e-5) == LEVEL_K2


def test_few_degrees_of_freedom_widen_the_factor() -> None:
    factors = [coverage_factor(dof) for dof in (1, 2, 4, 10, 100, 1e9)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] == pytest.approx(2.0, abs=1e-6)


def test_the_budget_names_its_largest_and_says_what_it_costs() -> None:
    budget = combine([Component(name="scale", u=3.0), Component(name="sighting", u=4.0)])
    assert budget.largest is not None
    assert budget.largest.name == "sighting"
    assert budget.u_without_largest == 3.0
    assert budget.expanded == pytest.approx(10.0)
    assert [part.name for part in budget.components] == ["sighting", "scale"]


def test_an_empty_budget_is_nil_and_names_nothing() -> None:
    budget = combine([])
    assert (budget.u, budget.expanded, budget.largest) == (0.0, 0.0, None)
    assert combine([Component(name="nil", u=0.0)]).largest is None


def test_opposite_inputs_that_move_together_cancel() -> None:
    parts = [Component(name="a", u=2.0), Component(name="b", u=2.0)]
    against = np.array([[1.0, -1.0], [-1.0, 1.0]])
    assert combine(parts, correlation=against).u == pytest.approx(0.0, abs=1e-12)
    assert combine(parts, correlation=np.ones((2, 2))).u == pytest.approx(4.0)


@given(u=sizes, dof=st.floats(1.0, 50.0))
def test_effective_freedom_lies_between_the_least_and_the_sum(u: list[float], dof: float) -> None:
    effective = welch_satterthwaite(u, [dof] * len(u))
    if max(u) == 0.0:
        assert effective == math.inf
    else:
        assert dof * (1.0 - 1e-9) <= effective <= dof * len(u) * (1.0 + 1e-9)


@given(u=sizes, factor=st.sampled_from([1e-9, 1e-3, 1e6]))
def test_a_budget_does_not_hang_on_its_unit(u: list[float], factor: float) -> None:
    one = combine([Component(name=str(i), u=x, dof=i + 1.0) for i, x in enumerate(u)])
    other = combine([Component(name=str(i), u=x * factor, dof=i + 1.0) for i, x in enumerate(u)])
    assert other.u == pytest.approx(one.u * factor, rel=1e-9)
    if min(u) > 1e-6:
        assert other.dof == pytest.approx(one.dof, rel=1e-6)


@pytest.mark.parametrize("u", [-1.0, math.nan, math.inf])
def test_a_component_of_no_size_is_refused(u: float) -> None:
    with pytest.raises(ValueError, match="u of 'scale'"):
        Component(name="scale", u=u)


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_freedom_must_be_positive(dof: float) -> None:
    with pytest.raises(ValueError, match="dof"):
        Component(name="scale", u=1.0, dof=dof)
    with pytest.raises(ValueError, match="dof"):
        coverage_factor(dof)
    with pytest.raises(ValueError, match="dof"):
        welch_satterthwaite([1.0], [dof])


@pytest.mark.parametrize(
    "matrix",
    [
        np.eye(3),
        np.array([[1.0, 0.5], [0.4, 1.0]]),
        np.array([[2.0, 0.0], [0.0, 1.0]]),
        np.array([[1.0, 1.5], [1.5, 1.0]]),
    ],
)
def test_what_is_no_correlation_matrix_is_refused(matrix: np.ndarray) -> None:
    with pytest.raises(ValueError, match="correlation"):
        combine([Component(name="a", u=1.0), Component(name="b", u=1.0)], correlation=matrix)


def test_pooled_scatter_counts_each_group_by_its_freedom() -> None:
    rng = np.random.default_rng(3)
    groups = [rng.normal(mean, 5.0, n) for mean, n in ((0, 3), (100, 7), (-50, 2), (8, 1))]
    sd, dof = pooled_sd(groups)
    expected = sum(g.var(ddof=1) * (len(g) - 1) for g in groups if len(g) > 1) / 9
    assert sd == pytest.approx(math.sqrt(expected))
    assert dof == 9


def test_pooled_scatter_is_right_on_average() -> None:
    rng = np.random.default_rng(4)
    squares = [pooled_sd(list(rng.normal(0.0, 2.0, (4, 3))))[0] ** 2 for _ in range(2000)]
    assert np.mean(squares) == pytest.approx(4.0, rel=0.04)  # sd of the mean: 1.1 %


def test_repeats_say_nothing_alone() -> None:
    with pytest.raises(ValueError, match="two"):
        pooled_sd([[1.0], [2.0]])
    with pytest.raises(ValueError, match="two"):
        mean_of_repeats([1.0])
    with pytest.raises(ValueError, match="finite"):
        mean_of_repeats([1.0, math.nan])


def _made(rng: np.random.Generator, n: int = 12, k: int = 3) -> tuple[np.ndarray, np.ndarray]:
    design = rng.normal(size=(n, k))
    root = rng.normal(size=(n, n))
    return design, root @ root.T + np.eye(n)


def test_correlated_observations_give_the_gauss_markov_answer() -> None:
    rng = np.random.default_rng(5)
    design, covariance = _made(rng)
    observed = rng.normal(size=12)
    fit = weighted_least_squares(design, observed, covariance=covariance)
    assert isinstance(fit, LeastSquaresFit)
    inverse = np.linalg.inv(covariance)
    expected = np.linalg.inv(design.T @ inverse @ design)
    np.testing.assert_allclose(fit.covariance, expected, rtol=1e-9)
    np.testing.assert_allclose(fit.parameters, expected @ design.T @ inverse @ observed, rtol=1e-9)
    np.testing.assert_allclose(fit.residuals, observed - design @ fit.parameters, atol=1e-12)
    assert fit.chi2 == pytest.approx(float(fit.residuals @ inverse @ fit.residuals))


def test_equal_weights_give_the_answer_of_numpy() -> None:
    rng = np.random.default_rng(6)
    design, _ = _made(rng)
    observed = rng.normal(size=12)
    fit = weighted_least_squares(design, observed, covariance=np.full(12, 0.3))
    assert isinstance(fit, LeastSquaresFit)
    expected = np.linalg.lstsq(design, observed)[0]
    np.testing.assert_allclose(fit.parameters, expected, rtol=1e-10)
    assert not fit.from_residuals


def test_chi2_over_dof_is_one_on_average_and_the_covariance_is_true() -> None:
    rng = np.random.default_rng(7)
    design, covariance = _made(rng)
    lower = np.linalg.cholesky(covariance)
    truth = np.array([1.0, -2.0, 0.5])
    errors, ratios = [], []
    for _ in range(1500):
        observed = design @ truth + lower @ rng.normal(size=12)
        fit = weighted_least_squares(design, observed, covariance=covariance)
        assert isinstance(fit, LeastSquaresFit)
        miss = fit.parameters - truth
        errors.append(float(miss @ np.linalg.solve(fit.covariance, miss)))
        ratios.append(fit.chi2 / fit.dof)
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.05)  # sd of the mean .012
    assert np.mean(errors) == pytest.approx(3.0, abs=0.25)  # chi-square, sd of the mean .063


@given(powers=st.lists(st.integers(-6, 6), min_size=3, max_size=3))
@settings(max_examples=30, deadline=None)
def test_units_of_the_parameters_do_not_matter(powers: list[int]) -> None:
    rng = np.random.default_rng(8)
    design, covariance = _made(rng)
    observed = rng.normal(size=12)
    scale = 10.0 ** np.array(powers)
    one = weighted_least_squares(design, observed, covariance=covariance)
    other = weighted_least_squares(design * scale, observed, covariance=covariance)
    assert isinstance(one, LeastSquaresFit)
    assert isinstance(other, LeastSquaresFit)
    np.testing.assert_allclose(other.parameters * scale, one.parameters, rtol=1e-8)


def test_undetermined_parameters_are_refused_as_a_value() -> None:
    column = np.arange(5.0)
    design = np.column_stack([np.ones(5), column, 2.0 * column - 1.0])
    refusal = weighted_least_squares(design, column)
    assert isinstance(refusal, SingularDesign)
    assert (refusal.rank, refusal.wanted) == (2, 3)
    assert "2 of 3" in refusal.message
    assert isinstance(weighted_least_squares(np.eye(2, 3), np.ones(2)), SingularDesign)
    assert isinstance(weighted_least_squares(np.zeros((4, 1)), np.ones(4)), SingularDesign)


def test_a_weak_design_is_refused_with_its_condition() -> None:
    column = np.arange(5.0)
    design = np.column_stack([np.ones(5), column, column + 1e-7 * column**2])
    refusal = weighted_least_squares(design, column, condition_limit=1e4)
    assert isinstance(refusal, SingularDesign)
    assert refusal.condition > 1e4
    assert "weakly" in refusal.message


def test_without_redundancy_the_residuals_promise_nothing() -> None:
    fit = weighted_least_squares(np.eye(2), np.array([1.0, 2.0]))
    assert isinstance(fit, LeastSquaresFit)
    assert np.isinf(fit.covariance).all()


def test_results_are_read_only_and_inputs_stay_as_they_were() -> None:
    design, observed = np.eye(3, 2), np.array([1.0, 2.0, 3.0])
    fit = weighted_least_squares(design, observed)
    assert isinstance(fit, LeastSquaresFit)
    for array in (fit.parameters, fit.covariance, fit.residuals):
        assert not array.flags.writeable
    assert design.flags.writeable
    np.testing.assert_array_equal(observed, [1.0, 2.0, 3.0])


@pytest.mark.parametrize(
    ("design", "observed", "covariance", "named"),
    [
        (np.ones(3), np.ones(3), None, "design"),
        (np.ones((3, 1)), np.ones(2), None, "observed"),
        (np.full((3, 1), math.nan), np.ones(3), None, "finite"),
        (np.ones((3, 1)), np.ones(3), np.zeros(3), "covariance"),
        (np.ones((3, 1)), np.ones(3), np.ones(2), "covariance"),
        (np.ones((3, 1)), np.ones(3), np.full((3, 3), math.inf), "covariance"),
        (np.ones((3, 1)), np.ones(3), -np.eye(3), "covariance"),
    ],
)
def test_wrong_input_is_named(
    design: np.ndarray, observed: np.ndarray, covariance: np.ndarray | None, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        weighted_least_squares(design, observed, covariance=covariance)


def test_propagation_checks_its_shapes() -> None:
    with pytest.raises(ValueError, match="covariance"):
        propagate(np.ones((2, 3)), np.eye(2))


def test_monte_carlo_is_reproducible_and_checks_its_input() -> None:
    def draw(rng: np.random.Generator, n: int) -> np.ndarray:
        return rng.exponential(size=n)

    def square(x: np.ndarray) -> np.ndarray:
        return x**2

    one = propagate_distributions(square, [draw], 5000, np.random.default_rng(1))
    other = propagate_distributions(square, [draw], 5000, np.random.default_rng(1))
    assert one == other
    # Of a skew distribution the shortest interval starts lower than the symmetric one.
    assert one.shortest[0] < one.low
    assert one.shortest[1] - one.shortest[0] < one.high - one.low
    with pytest.raises(ValueError, match="n must"):
        propagate_distributions(square, [draw], 10, np.random.default_rng(1))
    with pytest.raises(ValueError, match="level"):
        propagate_distributions(square, [draw], 500, np.random.default_rng(1), level=1.0)
    with pytest.raises(ValueError, match="model"):
        propagate_distributions(lambda x: x[:5], [draw], 500, np.random.default_rng(1))
