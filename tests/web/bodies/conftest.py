"""A small body: a dome of 1 m with one panel, an opening in it and a sensor on it."""

import io

import numpy as np
import pytest
import trimesh
from trimesh.exchange.ply import export_ply

from layflat.surface import BodyInfo, Edge, EdgeKind, KeepOut, KeepOutKind, Mesh, Panel, panels_json
from layflat.web.people.models import Person, Role


def on_dome(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Points of the dome over the plane, in mm; it is 150 mm high."""
    return np.stack([x, y, 150.0 * np.exp(-(x**2 + y**2) / 400.0**2)], axis=-1)


def dome(count: int = 41) -> Mesh:
    """The dome as a grid of *count* points a side."""
    side = np.linspace(-500.0, 500.0, count)
    x, y = np.meshgrid(side, side, indexing="ij")
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (
        part.ravel()
        for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:])
    )
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return Mesh(on_dome(x.ravel(), y.ravel()), faces)


def ring(radius: float, count: int, *, x: float = 0.0, y: float = 0.0) -> np.ndarray:
    """Points round a place, counter-clockwise seen from above."""
    angle = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    return on_dome(x + radius * np.cos(angle), y + radius * np.sin(angle))


def info() -> BodyInfo:
    side = np.linspace(-300.0, 300.0, 13)[:-1]
    still = np.full(len(side), 300.0)
    sides = [(side, -still), (still, side), (-side, still), (-still, -side)]
    edges = [on_dome(x, y) for x, y in sides]
    kinds = (EdgeKind.OPEN, EdgeKind.GAP, EdgeKind.TRIM, EdgeKind.INNER)
    names = ("low", "front", "high", "rear")
    return BodyInfo(
        "Test dome",
        panels=(
            Panel(
                "hood",
                tuple(Edge(k, p, n) for k, p, n in zip(kinds, edges, names, strict=True)),
                openings=((Edge(EdgeKind.TRIM, ring(60.0, 12, x=150.0)[::-1], "grille"),),),
                # Clockwise, which a rim may be.
                keep_outs=(KeepOut(KeepOutKind.SENSOR, ring(30.0, 12, x=-150.0)[::-1], "eye"),),
            ),
        ),
    )


def ply(mesh: Mesh, *, per_mm: float = 1.0) -> bytes:
    return export_ply(trimesh.Trimesh(mesh.vertices_mm * per_mm, mesh.faces, process=False))


def upload(data: bytes, name: str) -> io.BytesIO:
    """What a browser sends as a file."""
    file = io.BytesIO(data)
    file.name = name
    return file


@pytest.fixture
def scan_bytes() -> bytes:
    return ply(dome())


@pytest.fixture
def panels_bytes() -> bytes:
    return panels_json(info()).encode()


@pytest.fixture
def who(people: dict[Role, Person]) -> Person:
    return people[Role.COUNTER]
