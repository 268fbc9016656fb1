"""Papers: reports, maps and sheets for the bay, price, offer, care, passport, and pictures."""

from layflat.papers.calibration import (
    CalibrationLine,
    CalibrationPaper,
    calibration_document,
)
from layflat.papers.camera import VIEWS, View
from layflat.papers.care import CareSheet, care_document, care_sheet
from layflat.papers.cautions import CARE, CUSTOMER, CUTTING, DEFER, PASSPORT
from layflat.papers.engine import Document, picture_png
from layflat.papers.finger_marks import CutMark, marked_zones
from layflat.papers.fit import FitSheet, Way, fit_document, fit_report
from layflat.papers.frame_sheet import frame_document
from layflat.papers.head import Head, LengthUnit, Paper
from layflat.papers.laying import LayingPiece, LayingSheet, laying_document, laying_sheet
from layflat.papers.lettering import panel_in_sentence, panel_title
from layflat.papers.look import contrast_ratio, strain_colours
from layflat.papers.offer_sheet import (
    OfferedCover,
    OfferLine,
    OfferSheet,
    offer_document,
    offer_sheet,
)
from layflat.papers.passport import (
    PassportFlag,
    PassportPiece,
    PassportSheet,
    passport_document,
    passport_sheet,
)
from layflat.papers.pictures import (
    layout_height_mm,
    layout_picture,
    pattern_picture,
    strain_sheet_picture,
)
from layflat.papers.piece_labels import (
    PieceLabel,
    PieceLabels,
    labels_document,
    piece_labels,
)
from layflat.papers.piece_map import PieceMap, pattern_map, piece_map, strain_vertex_colours
from layflat.papers.plan_picture import plan_picture
from layflat.papers.price_sheet import (
    PriceRow,
    PriceSheet,
    grouped,
    price_document,
    price_sheet,
)
from layflat.papers.qr import qr_svg
from layflat.papers.raycast import Stage, make_stage, vertex_normals
from layflat.papers.render import CLAY, INK, PAPER, Colour, Line, Mark, render
from layflat.papers.revision import RevisionSheet, revision_document, revision_picture
from layflat.papers.roll_label import RollLabel, roll_label, roll_label_document
from layflat.papers.shading import Shading
from layflat.papers.strain import Effort, StrainSummary, summarise
from layflat.papers.strain_map import strain_picture
from layflat.papers.weeding import WeedingSheet, weeding_document, weeding_map

__all__ = [
    "CARE",
    "CLAY",
    "CUSTOMER",
    "CUTTING",
    "DEFER",
    "INK",
    "PAPER",
    "PASSPORT",
    "VIEWS",
    "CalibrationLine",
    "CalibrationPaper",
    "CareSheet",
    "Colour",
    "CutMark",
    "Document",
    "Effort",
    "FitSheet",
    "Head",
    "LayingPiece",
    "LayingSheet",
    "LengthUnit",
    "Line",
    "Mark",
    "OfferLine",
    "OfferSheet",
    "OfferedCover",
    "Paper",
    "PassportFlag",
    "PassportPiece",
    "PassportSheet",
    "PieceLabel",
    "PieceLabels",
    "PieceMap",
    "PriceRow",
    "PriceSheet",
    "RevisionSheet",
    "RollLabel",
    "Shading",
    "Stage",
    "StrainSummary",
    "View",
    "Way",
    "WeedingSheet",
    "calibration_document",
    "care_document",
    "care_sheet",
    "contrast_ratio",
    "fit_document",
    "fit_report",
    "frame_document",
    "grouped",
    "labels_document",
    "laying_document",
    "laying_sheet",
    "layout_height_mm",
    "layout_picture",
    "make_stage",
    "marked_zones",
    "offer_document",
    "offer_sheet",
    "panel_in_sentence",
    "panel_title",
    "passport_document",
    "passport_sheet",
    "pattern_map",
    "pattern_picture",
    "picture_png",
    "piece_labels",
    "piece_map",
    "plan_picture",
    "price_document",
    "price_sheet",
    "qr_svg",
    "render",
    "revision_document",
    "revision_picture",
    "roll_label",
    "roll_label_document",
    "strain_colours",
    "strain_picture",
    "strain_sheet_picture",
    "strain_vertex_colours",
    "summarise",
    "vertex_normals",
    "weeding_document",
    "weeding_map",
]
