"""What kinds of edges and keep-outs are called on screen."""

from collections.abc import Mapping

from layflat.surface import EdgeKind, KeepOutKind

EDGE_WORDS: Mapping[EdgeKind, str] = {
    EdgeKind.OPEN: "free edge, can be wrapped",
    EdgeKind.GAP: "the next panel lies beyond it",
    EdgeKind.TRIM: "a seal, lamp or strip sits on it",
    EdgeKind.INNER: "line across paint",
}
KEEP_OUT_WORDS: Mapping[KeepOutKind, str] = {
    KeepOutKind.EMBLEM: "stays on; film over an emblem that hides a radar can blind it",
    KeepOutKind.SENSOR: "must see; free unless the vehicle maker allows film over it",
    KeepOutKind.JET: "must spray",
    KeepOutKind.LOCK: "must take its key",
    KeepOutKind.OTHER: "stays free",
}
"""Why a place is left free, in words."""
