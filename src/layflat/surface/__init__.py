"""Meshes in: read, mend, measure, trace outlines, cut regions out."""

from layflat.surface.check import MeshReport, check_mesh
from layflat.surface.clip import END_REACH_MM, LINE_EDGE, REACH_MM, clip_region
from layflat.surface.cut import cut_region
from layflat.surface.denoise import Denoised, denoise
from layflat.surface.locate import Located, locate
from layflat.surface.measure import (
    angle_defects,
    boundary_turning,
    edge_lengths_mm,
    triangle_quality,
)
from layflat.surface.mend import Mend, Mended, mend
from layflat.surface.mesh import Mesh
from layflat.surface.panel import BodyInfo, Edge, EdgeKind, KeepOut, KeepOutKind, Panel
from layflat.surface.panels_file import panels_json, read_panels
from layflat.surface.part import LEAST_WIDTH_MM, part_region, parted_by
from layflat.surface.prepare import Prepared, prepare
from layflat.surface.read import UNITS_MM, ReadMesh, read_mesh
from layflat.surface.region import Loop, Region
from layflat.surface.slit import right_of, slit_region
from layflat.surface.sniff import MAX_BYTES, Kind, sniff
from layflat.surface.topology import boundary_loops, compact, edge_table, require_sheet
from layflat.surface.whole import whole_region

__all__ = [
    "END_REACH_MM",
    "LEAST_WIDTH_MM",
    "LINE_EDGE",
    "MAX_BYTES",
    "REACH_MM",
    "UNITS_MM",
    "BodyInfo",
    "Denoised",
    "Edge",
    "EdgeKind",
    "KeepOut",
    "KeepOutKind",
    "Kind",
    "Located",
    "Loop",
    "Mend",
    "Mended",
    "Mesh",
    "MeshReport",
    "Panel",
    "Prepared",
    "ReadMesh",
    "Region",
    "angle_defects",
    "boundary_loops",
    "boundary_turning",
    "check_mesh",
    "clip_region",
    "compact",
    "cut_region",
    "denoise",
    "edge_lengths_mm",
    "edge_table",
    "locate",
    "mend",
    "panels_json",
    "part_region",
    "parted_by",
    "prepare",
    "read_mesh",
    "read_panels",
    "require_sheet",
    "right_of",
    "slit_region",
    "sniff",
    "triangle_quality",
    "whole_region",
]
