"""The demo's jobs on the bodies as designed, without a scanner's noise: the same on every run."""

import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

from layflat.base import write_text
from layflat.demo import Design, body_mesh, coupe_design, van_design
from layflat.demo.files import FILM, coupe_job, van_job
from layflat.demo.workshop import sliding_door_line
from layflat.film import Film, read_film
from layflat.job import Order, Piece, make_pieces, read_order


@cache
def designs() -> dict[str, Design]:
    """The van and the coupe."""
    return {"van": van_design(), "coupe": coupe_design()}


@cache
def demo_order(vehicle: str) -> Order:
    """The demo's job on *vehicle*."""
    text = van_job(*sliding_door_line()) if vehicle == "van" else coupe_job()
    return read_order(_written(text))


@cache
def demo_film() -> Film:
    """The demo's film."""
    return read_film(_written(FILM))


@cache
def pieces(vehicle: str, panels: tuple[str, ...] = ()) -> tuple[Piece, ...]:
    """The pieces of the job on *vehicle*, or only those of some *panels*."""
    design, order = designs()[vehicle], demo_order(vehicle)
    covers = tuple(item for item in order.covers if not panels or item.panel in panels)
    mesh = body_mesh(design, spacing_mm=11.0)
    return make_pieces(replace(order, covers=covers), mesh, design.info, demo_film())


def _written(text: str) -> Path:
    """*text* in a file that lives as long as this run."""
    path = Path(_FOLDER.name) / f"{len(list(Path(_FOLDER.name).iterdir()))}.toml"
    write_text(path, text)
    return path


_FOLDER = tempfile.TemporaryDirectory()
