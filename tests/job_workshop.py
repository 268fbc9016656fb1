"""A small job on a dome, quick enough for every test: two panels, an emblem, one line."""

from pathlib import Path

import numpy as np
import trimesh

import zoo
from layflat.base import FloatArray
from layflat.surface import (
    BodyInfo,
    Edge,
    EdgeKind,
    KeepOut,
    KeepOutKind,
    Panel,
    panels_json,
)

RADIUS_MM = 900.0
DOME = zoo.bowl(RADIUS_MM)

JOB = """
name = "Dome"
number = "T-1"
customer = "A customer"
vehicle = "A dome"
workshop = "A workshop"
dated = 2026-05-31
body = "body.ply"
unit = "m"
panels = "panels.json"

[stock]
width_mm = 610
seconds = 1

[finish]
open = { finish = "wrap", distance_mm = 6 }

[[cover]]
panel = "left"
edges = { rear = { finish = "short", distance_mm = 3 } }

[[cover]]
panel = "right"
line_mm = [[150, -150, 874.6], [150, 150, 874.6]]
keep_mm = [60, 0, 895]

[price]
currency = "EUR"
film_per_metre = 60
rate_per_hour = 70
tax_rate = 0.2
"""


def raised(points: list[tuple[float, float]]) -> FloatArray:
    """Points of the plane lifted onto the dome."""
    x, y = np.array(points, float).T
    return np.stack([x, y, DOME(x, y)], axis=1)


def side(start: tuple[float, float], end: tuple[float, float], kind: EdgeKind, name: str) -> Edge:
    """An edge with a picked point every 20 mm or so."""
    share = np.linspace(0, 1, 15)[:-1]
    line = [(start[0] + t * (end[0] - start[0]), start[1] + t * (end[1] - start[1])) for t in share]
    return Edge(kind, raised(line), name)


def rectangle(name: str, x0: float, x1: float, keep_outs: tuple[KeepOut, ...] = ()) -> Panel:
    corners = [(x0, -140.0), (x1, -140.0), (x1, 140.0), (x0, 140.0)]
    kinds = [EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.OPEN, EdgeKind.TRIM]
    names = ["front", "right", "rear", "left"]
    edges = tuple(side(corners[i], corners[(i + 1) % 4], kinds[i], names[i]) for i in range(4))
    return Panel(name, edges, keep_outs=keep_outs)


def circle(x: float, y: float, radius: float) -> FloatArray:
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return raised([(x + radius * np.cos(t), y + radius * np.sin(t)) for t in turn])


def write_workshop(folder: Path, job: str = JOB) -> Path:
    """The job file with everything it names."""
    body = zoo.sheet(61, side_mm=640.0, height=DOME, jitter=0.2, seed=3)
    metres = trimesh.Trimesh(body.vertices_mm / 1000, body.faces, process=False)
    metres.export(folder / "body.ply")
    emblem = KeepOut(KeepOutKind.EMBLEM, circle(-120.0, 20.0, 15.0), "emblem", 2.0)
    sensor = KeepOut(KeepOutKind.SENSOR, circle(200.0, 0.0, 9.0), "sensor", 1.5)
    panels = (
        rectangle("left", -240.0, -20.0, (emblem,)),
        rectangle("right", 20.0, 240.0, (sensor,)),
    )
    (folder / "panels.json").write_text(panels_json(BodyInfo("Dome", panels=panels)))
    path = folder / "job.toml"
    path.write_text(job, encoding="utf-8")
    return path
