"""Cheapest cycles against trying every subset of nodes."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from trimgeo.plane.cycles import cheapest_cycles


def intervals(seed: int, nodes: int):
    """Costs as areas have them: weights of the arcs that fit between two nodes, all around for i = j."""
    rng = np.random.default_rng(seed)
    start, length = rng.uniform(0, nodes, 60), rng.uniform(0, nodes / 2, 60)
    weight = rng.uniform(0, 1, 60)
    turn = np.mod(np.arange(nodes)[None] - np.arange(nodes)[:, None], nodes)
    turn[turn == 0] = nodes
    after = np.mod(start[None] - np.arange(nodes)[:, None], nodes)
    return np.einsum("k,ijk->ij", weight, after[:, None] + length <= turn[:, :, None])


def cheapest_subset(cost, cuts, most):
    """By trying all: at most ``most`` cuts."""
    best = np.inf
    for size in range(1, most + 1):
        for nodes in combinations(range(len(cost)), size):
            steps = (list(nodes), list(nodes[1:] + nodes[:1]))
            if cuts[steps].sum() <= most:
                best = min(best, cost[steps].sum())
    return best


@pytest.mark.parametrize("seed", range(12))
def test_cycles_of_single_cuts_are_as_cheap_as_the_best_of_all_subsets(seed):
    cost = intervals(seed, 8 + seed % 3)
    found = cheapest_cycles(cost, np.ones_like(cost), 6)
    for most in range(1, 7):
        answer, nodes = found[min(most, len(found)) - 1]
        assert answer == pytest.approx(cheapest_subset(cost, np.ones_like(cost), most), abs=1e-9)
        assert len(nodes) <= most


@pytest.mark.parametrize("seed", range(12))
def test_cycles_of_steps_that_take_several_cuts_are_as_cheap_as_the_best_of_all_subsets(seed):
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0, 1, (8, 8))
    cost[rng.random((8, 8)) < 0.2] = np.inf
    cuts = rng.integers(1, 4, (8, 8)).astype(float)
    cuts[0, 1] = 2
    found = cheapest_cycles(cost, cuts, 7)
    for most in range(1, 8):
        assert found[most - 1][0] == pytest.approx(cheapest_subset(cost, cuts, most))


def test_the_nodes_of_a_cycle_add_up_to_its_cost():
    cost = intervals(99, 30)
    for answer, nodes in cheapest_cycles(cost, np.ones_like(cost), 9):
        assert cost[list(nodes), list(nodes[1:] + nodes[:1])].sum() == pytest.approx(answer)


def test_without_nodes_there_is_no_cycle():
    assert cheapest_cycles(np.zeros((0, 0)), np.zeros((0, 0)), 3) == []
