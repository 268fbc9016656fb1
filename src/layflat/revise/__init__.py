"""Revisions: what was noted at the laid piece changes its pattern for the next car."""

from layflat.revise.align import Alignment, Landmarks, aligned
from layflat.revise.apply import ALIKE_MM, Applied, apply, same_shape, to_noted
from layflat.revise.history import History
from layflat.revise.joined import EdgeChange, Joined, edge_change, join
from layflat.revise.notes_file import NotesFile, read_notes_file
from layflat.revise.outline import Outline, Side, sides_of
from layflat.revise.pairs import Pair, pairs_of, with_pairs
from layflat.revise.plate import Field, Taps, bend
from layflat.revise.propose import Known, Proposal, Started, propose, start_from
from layflat.revise.rebase import rebased
from layflat.revise.records import (
    DOUBT_MM,
    FINGER_MM,
    LIMIT_MM,
    MOST_MM,
    MOST_NOTES,
    Note,
    NoteKind,
    Spot,
)
from layflat.revise.revision import Revision, revise
from layflat.revise.stored import (
    history_json,
    read_history_json,
    read_revision_json,
    revision_json,
)
from layflat.revise.stretch import NotedStretch, noted_stretch
from layflat.revise.summary import Summary
from layflat.revise.weigh import Scatter

__all__ = [
    "ALIKE_MM",
    "DOUBT_MM",
    "FINGER_MM",
    "LIMIT_MM",
    "MOST_MM",
    "MOST_NOTES",
    "Alignment",
    "Applied",
    "EdgeChange",
    "Field",
    "History",
    "Joined",
    "Known",
    "Landmarks",
    "Note",
    "NoteKind",
    "NotedStretch",
    "NotesFile",
    "Outline",
    "Pair",
    "Proposal",
    "Revision",
    "Scatter",
    "Side",
    "Spot",
    "Started",
    "Summary",
    "Taps",
    "aligned",
    "apply",
    "bend",
    "edge_change",
    "history_json",
    "join",
    "noted_stretch",
    "pairs_of",
    "propose",
    "read_history_json",
    "read_notes_file",
    "read_revision_json",
    "rebased",
    "revise",
    "revision_json",
    "same_shape",
    "sides_of",
    "start_from",
    "to_noted",
    "with_pairs",
]
