"""Meshes in: read, mend, measure, trace outlines, cut regions out."""

from layflat.surface.cut import cut_region
from layflat.surface.locate import Located, locate
from layflat.surface.measure import (
    angle_defects,
    boundary_turning,
    corner_angles,
    edge_lengths_mm,
    triangle_quality,
)
from layflat.surface.mesh import Mesh
from layflat.surface.panel import BodyInfo, Edge, EdgeKind, KeepOut, KeepOutKind, Panel
from layflat.surface.panels_file import panels_json, read_panels
from layflat.surface.read import UNITS_MM, ReadMesh, read_mesh
from layflat.surface.region import Loop, Region
from layflat.surface.topology import boundary_loops, require_sheet
from layflat.surface.whole import whole_region

__all__ = [
    "UNITS_MM",
    "BodyInfo",
    "Edge",
    "EdgeKind",
    "KeepOut",
    "KeepOutKind",
    "Located",
    "Loop",
    "Mesh",
    "Panel",
    "ReadMesh",
    "Region",
    "angle_defects",
    "boundary_loops",
    "boundary_turning",
    "corner_angles",
    "cut_region",
    "edge_lengths_mm",
    "locate",
    "panels_json",
    "read_mesh",
    "read_panels",
    "require_sheet",
    "triangle_quality",
    "whole_region",
]
