"""Meshes in: read, mend, measure, trace outlines, cut regions out."""

from layflat.surface.align import Aligned, Corrections, align
from layflat.surface.check import MeshReport, check_mesh
from layflat.surface.clip import END_REACH_MM, LINE_EDGE, REACH_MM, clip_region
from layflat.surface.cluster import clustered
from layflat.surface.cut import cut_region
from layflat.surface.denoise import Denoised, denoise
from layflat.surface.feature_path import FeaturePath, feature_path, snapped
from layflat.surface.features import Features, features
from layflat.surface.floor import Floor, FloorCut, Removed, cut_floor, find_floor
from layflat.surface.locate import Located, Locator, locate
from layflat.surface.measure import (
    angle_defects,
    boundary_turning,
    edge_lengths_mm,
    triangle_quality,
)
from layflat.surface.mend import Mend, Mended, faced_outward, mend
from layflat.surface.mesh import Mesh
from layflat.surface.mirror import Mirror, MirrorCheck, mirror_check
from layflat.surface.outline import Node, Outline, outline_edges
from layflat.surface.panel import BodyInfo, Edge, EdgeKind, KeepOut, KeepOutKind, Panel
from layflat.surface.panels_file import panels_json, read_panels
from layflat.surface.part import LEAST_WIDTH_MM, part_region, parted_by
from layflat.surface.plane import Plane
from layflat.surface.prepare import Prepared, prepare
from layflat.surface.read import UNITS_MM, ReadMesh, read_mesh
from layflat.surface.region import Loop, Region
from layflat.surface.samples import Samples, sample
from layflat.surface.slit import right_of, slit_region
from layflat.surface.sniff import MAX_BYTES, Kind, sniff
from layflat.surface.topology import boundary_loops, compact, edge_table, require_sheet
from layflat.surface.untangle import Untangled, untangled
from layflat.surface.whole import whole_region
from layflat.surface.write_ply import ply_bytes

__all__ = [
    "END_REACH_MM",
    "LEAST_WIDTH_MM",
    "LINE_EDGE",
    "MAX_BYTES",
    "REACH_MM",
    "UNITS_MM",
    "Aligned",
    "BodyInfo",
    "Corrections",
    "Denoised",
    "Edge",
    "EdgeKind",
    "FeaturePath",
    "Features",
    "Floor",
    "FloorCut",
    "KeepOut",
    "KeepOutKind",
    "Kind",
    "Located",
    "Locator",
    "Loop",
    "Mend",
    "Mended",
    "Mesh",
    "MeshReport",
    "Mirror",
    "MirrorCheck",
    "Node",
    "Outline",
    "Panel",
    "Plane",
    "Prepared",
    "ReadMesh",
    "Region",
    "Removed",
    "Samples",
    "Untangled",
    "align",
    "angle_defects",
    "boundary_loops",
    "boundary_turning",
    "check_mesh",
    "clip_region",
    "clustered",
    "compact",
    "cut_floor",
    "cut_region",
    "denoise",
    "edge_lengths_mm",
    "edge_table",
    "faced_outward",
    "feature_path",
    "features",
    "find_floor",
    "locate",
    "mend",
    "mirror_check",
    "outline_edges",
    "panels_json",
    "part_region",
    "parted_by",
    "ply_bytes",
    "prepare",
    "read_mesh",
    "read_panels",
    "require_sheet",
    "right_of",
    "sample",
    "slit_region",
    "snapped",
    "sniff",
    "triangle_quality",
    "untangled",
    "whole_region",
]
