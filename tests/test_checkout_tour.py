"""The tour search: walks that cover all rows, held against independent optima."""

from __future__ import annotations

from random import Random

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from rungs.checkout.tour import Arc, Effort, Tour, quick_tour, shortest_tour


def random_graph(seed: int, rows: int) -> list[list[Arc]]:
    """A strongly connected graph: a ring with arcs thrown in, each with a few rows or none."""
    dice = Random(seed)
    count = dice.randint(2, 6)
    graph = [[Arc((i + 1) % count, 1 << dice.randrange(rows))] for i in range(count)]
    for _ in range(dice.randint(0, 2 * count)):
        some = {1 << dice.randrange(rows) for _ in range(dice.choice([0, 1, 1, 2, 3]))}
        graph[dice.randrange(count)].append(Arc(dice.randrange(count), sum(some)))
    return graph


def _all_rows(graph: list[list[Arc]]) -> int:
    found = 0
    for arcs in graph:
        for arc in arcs:
            found |= arc.rows
    return found


def _walked(graph: list[list[Arc]], tour: Tour) -> int:
    """The rows of a tour, which must be a walk from node 0."""
    node = covered = 0
    for here, place in tour.walk:
        assert here == node
        node = graph[here][place].target
        covered |= graph[here][place].rows
    return covered


def milp_optimum(graph: list[list[Arc]]) -> int:
    """The fewest legs, by an integer program over how often each arc is walked (HiGHS).

    The walk leaves node 0 once more than it comes back and ends anywhere; a flow of one unit to
    each node that is left keeps all of it together.
    """
    arcs = [(node, arc) for node, out in enumerate(graph) for arc in out]
    count, nodes = len(arcs), len(graph)
    # columns: times walked, the end, the flow that connects, whether a node is visited
    size = 2 * count + 2 * nodes
    rows: list[np.ndarray] = []
    low: list[float] = []
    high: list[float] = []

    def line(entries: dict[int, float], least: float, most: float) -> None:
        row = np.zeros(size)
        for place, value in entries.items():
            row[place] += value
        rows.append(row)
        low.append(least)
        high.append(most)

    flow, end, visited = count + nodes, count, 2 * count + nodes
    for node in range(nodes):
        balance = {end + node: 1.0}
        carried = {visited + node: -1.0}
        for place, (source, arc) in enumerate(arcs):
            out, into = float(source == node), float(arc.target == node)
            balance[place] = into - out
            balance[place] *= -1
            carried[flow + place] = into - out
            if source == node:
                line({place: 1.0, visited + node: -1000.0}, -np.inf, 0)
        line(balance, float(node == 0), float(node == 0))
        if node:
            line(carried, 0, 0)
    for place in range(count):
        line({flow + place: 1.0, place: -1000.0}, -np.inf, 0)
    for row in range(_all_rows(graph).bit_length()):
        on = {place: 1.0 for place, (_, arc) in enumerate(arcs) if arc.rows >> row & 1}
        if on:
            line(on, 1, np.inf)
    line({end + node: 1.0 for node in range(nodes)}, 1, 1)
    cost = np.zeros(size)
    cost[:count] = 1
    kinds = np.ones(size)
    kinds[flow : flow + count] = 0
    upper = np.full(size, 1000.0)
    upper[end : end + nodes] = 1
    upper[visited:] = 1
    found = milp(
        cost,
        constraints=LinearConstraint(np.array(rows), np.array(low), np.array(high)),
        integrality=kinds,
        bounds=Bounds(np.zeros(size), upper),
    )
    assert found.success
    return round(float(found.fun))


@pytest.mark.parametrize("seed", range(40))
def test_a_tour_of_a_small_graph_is_as_short_as_the_integer_program_says(seed: int) -> None:
    graph = random_graph(seed, 9)
    tour = shortest_tour(graph, 0, 5.0)
    assert _walked(graph, tour) == _all_rows(graph) == tour.covered
    assert len(tour.walk) == tour.bound == milp_optimum(graph)


@pytest.mark.parametrize("seed", range(12))
def test_where_every_arc_has_a_row_of_its_own_it_is_the_route_inspection_optimum(seed: int) -> None:
    # the directed postman's round with an open end: every arc once, and the cheapest arcs that
    # balance the nodes (Edmonds and Johnson 1973; FROM MEMORY), the balance by networkx
    dice = Random(seed)
    count = dice.randint(3, 12)
    pairs = [(i, (i + 1) % count) for i in range(count)]
    pairs += [(dice.randrange(count), dice.randrange(count)) for _ in range(2 * count)]
    graph: list[list[Arc]] = [[] for _ in range(count)]
    for number, (one, other) in enumerate(pairs):
        graph[one].append(Arc(other, 1 << number))
    best = None
    for ending in range(count):
        net = nx.DiGraph()
        for node in range(count):
            out = sum(one == node for one, _ in pairs)
            into = sum(other == node for _, other in pairs)
            net.add_node(node, demand=out - into - (node == 0) + (node == ending))
        net.add_edges_from(dict.fromkeys(pairs), weight=1)
        cost = nx.cost_of_flow(net, nx.min_cost_flow(net))
        best = cost if best is None else min(best, cost)
    assert best is not None
    tour = shortest_tour(graph, 0, 2.0)
    assert tour.whole
    assert _walked(graph, tour) == tour.covered
    assert len(tour.walk) == tour.bound == len(pairs) + best


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10**6))
def test_a_bound_is_never_above_a_tour_even_without_time(seed: int) -> None:
    graph = random_graph(seed, 30)
    hurried = shortest_tour(graph, 0, 0.0)
    patient = shortest_tour(graph, 0, 0.3)
    for tour in (hurried, patient):
        assert _walked(graph, tour) == _all_rows(graph)
        assert tour.bound <= len(tour.walk)
    assert hurried.bound <= len(patient.walk)
    assert patient.bound <= len(hurried.walk)


def test_a_cap_on_the_steps_leaves_rows_and_says_so() -> None:
    ring = [[Arc((i + 1) % 50, 1 << i)] for i in range(50)]
    tour = shortest_tour(ring, 0, 1.0, most=20)
    assert len(tour.walk) == 20
    assert not tour.whole
    assert tour.covered.bit_count() == 20
    assert tour.bound == 20


def test_a_place_of_no_return_is_no_excuse_to_claim_all() -> None:
    graph = [[Arc(1, 1), Arc(2, 2)], [], []]
    tour = shortest_tour(graph, 0, 1.0)
    assert not tour.whole
    assert tour.covered in (1, 2)
    assert len(tour.walk) == 1


def test_a_quick_tour_looks_only_where_it_comes_by() -> None:
    seen: set[int] = set()

    class Endless(list[list[Arc]]):
        def __getitem__(self, node):  # type: ignore[no-untyped-def]
            seen.add(node)
            return (Arc(node + 1, 1 << node % 7), Arc(0, 0))

    walk, covered = quick_tour(Endless(), 0, 127, Effort(1.0))
    assert covered == 127
    assert len(walk) == 7
    assert max(seen) < 9
