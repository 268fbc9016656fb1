"""What kinds of edges and keep-outs are called on screen."""

from collections.abc import Mapping

from layflat.surface import EdgeKind, KeepOutKind

EDGE_WORDS: Mapping[EdgeKind, str] = {
    EdgeKind.OPEN: "open, can be wrapped",
    EdgeKind.GAP: "gap to the next panel",
    EdgeKind.TRIM: "trim sits on it",
    EdgeKind.INNER: "line across paint",
}
KEEP_OUT_WORDS: Mapping[KeepOutKind, str] = {
    KeepOutKind.EMBLEM: "emblem stays on; film over one that hides a radar can blind it",
    KeepOutKind.SENSOR: "sensor must see; leave it free unless the vehicle maker allows film",
    KeepOutKind.JET: "washer jet must spray",
    KeepOutKind.LOCK: "lock must take its key",
    KeepOutKind.OTHER: "stays free",
}
"""Why a place is left free, in words."""
