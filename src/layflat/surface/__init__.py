"""Meshes in: read, mend, measure, trace outlines, cut regions out."""

from layflat.surface.mesh import Mesh
from layflat.surface.panel import BodyInfo, Edge, EdgeKind, KeepOut, KeepOutKind, Panel
from layflat.surface.region import Loop, Region

__all__ = [
    "BodyInfo",
    "Edge",
    "EdgeKind",
    "KeepOut",
    "KeepOutKind",
    "Loop",
    "Mesh",
    "Panel",
    "Region",
]
