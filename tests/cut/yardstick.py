"""OR-Tools' tour over the same places, to measure ours by."""

import numpy as np
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

from layflat.base import FloatArray
from layflat.cut.order import Stop


def yardstick_mm(
    stops: list[Stop], start_mm: FloatArray, end_mm: FloatArray, *, seconds: int = 0
) -> float:
    """The knife-up way of OR-Tools' tour over stops, each started at one of its places.

    By cheapest arc and local search until nothing gets shorter, or by guided local search for
    some seconds. It need not keep any order of pieces.
    """
    owner = [i for i, stop in enumerate(stops) for _ in stop.entries_mm]
    entries = np.vstack([start_mm, *(stop.entries_mm for stop in stops), end_mm])
    exits = np.vstack([start_mm, *(stop.exits_mm for stop in stops), end_mm])
    gaps = np.hypot(*np.moveaxis(exits[:, None] - entries[None, :], 2, 0))
    legs = np.rint(gaps * 1000.0).astype(int).tolist()
    manager = pywrapcp.RoutingIndexManager(len(legs), 1, [0], [len(legs) - 1])
    routing = pywrapcp.RoutingModel(manager)
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(legs))
    for i in range(len(stops)):
        nodes = [manager.NodeToIndex(k + 1) for k, stop in enumerate(owner) if stop == i]
        routing.AddDisjunction(nodes, 10**9)
    options = pywrapcp.DefaultRoutingSearchParameters()
    options.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    if seconds:
        options.local_search_metaheuristic = (
            routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
        )
        options.time_limit.FromSeconds(seconds)
    found = routing.SolveWithParameters(options)
    return float(found.ObjectiveValue()) / 1000.0
