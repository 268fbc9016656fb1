"""How film fits: laying it on a surface, fingers, wraps, and what to do where it does not fit."""

from layflat.fit.blank import BlankOrFitted, BlankRates, blank_or_fitted
from layflat.fit.blank_rectangle import Rectangle, least_rectangle
from layflat.fit.fingers import (
    Fingers,
    FingerZone,
    find_fingers,
    finger_sentence,
    finger_sentences,
    finger_zones,
)
from layflat.fit.flange import Beyond, Flange, measure_flange
from layflat.fit.judged import Judged, judge
from layflat.fit.lay import lay
from layflat.fit.lay_anchor import Anchor
from layflat.fit.lay_result import Laid
from layflat.fit.laying_anchor import Place, Pull
from layflat.fit.laying_plan import (
    HEAT_CAUTION,
    STROKES,
    Heat,
    HeatKind,
    PiecePlan,
    plan_piece,
    plan_results,
    wants_two_people,
)
from layflat.fit.laying_sweeps import Sweep
from layflat.fit.laying_tape import Tape
from layflat.fit.pairs import TOLERANCE_MM, TOLERANCES_MM, Difference, Pair, compare_pair
from layflat.fit.pairs_edges import MatchedEdges
from layflat.fit.pairs_mirror import Mirroring
from layflat.fit.pairs_shared import (
    shared_flat,
    shared_pattern,
    shared_region,
    shared_wraps,
    with_edges_of,
)
from layflat.fit.relief import Relief, Reliefs, propose_reliefs
from layflat.fit.relief_cut import cut_relief
from layflat.fit.relief_sight import seen_length_mm
from layflat.fit.seam import Seams, Split, propose_seams
from layflat.fit.seam_cut import (
    OVERLAP_MM,
    is_seam,
    nearest_part,
    seam_name,
    split_region,
    split_regions,
)
from layflat.fit.seam_outcome import Outcome, SeamRates
from layflat.fit.seen import Sight, creases, visibility
from layflat.fit.wraps import edge_folds, geodesic_curvature, normal_curvature

__all__ = [
    "HEAT_CAUTION",
    "OVERLAP_MM",
    "STROKES",
    "TOLERANCES_MM",
    "TOLERANCE_MM",
    "Anchor",
    "Beyond",
    "BlankOrFitted",
    "BlankRates",
    "Difference",
    "FingerZone",
    "Fingers",
    "Flange",
    "Heat",
    "HeatKind",
    "Judged",
    "Laid",
    "MatchedEdges",
    "Mirroring",
    "Outcome",
    "Pair",
    "PiecePlan",
    "Place",
    "Pull",
    "Rectangle",
    "Relief",
    "Reliefs",
    "SeamRates",
    "Seams",
    "Sight",
    "Split",
    "Sweep",
    "Tape",
    "blank_or_fitted",
    "compare_pair",
    "creases",
    "cut_relief",
    "edge_folds",
    "find_fingers",
    "finger_sentence",
    "finger_sentences",
    "finger_zones",
    "geodesic_curvature",
    "is_seam",
    "judge",
    "lay",
    "least_rectangle",
    "measure_flange",
    "nearest_part",
    "normal_curvature",
    "plan_piece",
    "plan_results",
    "propose_reliefs",
    "propose_seams",
    "seam_name",
    "seen_length_mm",
    "shared_flat",
    "shared_pattern",
    "shared_region",
    "shared_wraps",
    "split_region",
    "split_regions",
    "visibility",
    "wants_two_people",
    "with_edges_of",
]
