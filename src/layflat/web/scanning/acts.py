"""What can be done on the bench: from one state to the next, with a sentence on it."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from layflat.base import InputError
from layflat.surface import EdgeKind, KeepOutKind, Outline
from layflat.web.scanning.state import MOST_DRAFTS, Draft, State, read_points
from layflat.web.scanning.traced import put_on

Asked = Mapping[str, Any]
Done = tuple[State, str]
_NAME = re.compile(r"[\w][\w ()\-]{0,58}")
_MOST_EDGE_NAME = 60
_SAME_MM = 0.01
OPENING = "opening"
"""What a page asks for in the place of a kind of keep-out where it means a hole in a panel."""


def act_on(state: State, asked: Asked, *, mesh: str) -> Done:
    """The state after an act, and what was done in a sentence.

    Args:
        state: before.
        asked: `act` and what belongs to it, as the page sends it.
        mesh: the SHA-256 of the bench's mesh; "" while the scan is not upright yet.

    Raises:
        InputError: it cannot be done; the sentence says why. Nothing was changed.
    """
    name = asked.get("act")
    if name in _STANDING:
        return _STANDING[str(name)](state, asked)
    if name not in _TRACING:
        raise InputError("The bench knows no such act; open the page anew.")
    if not mesh:
        raise InputError("Put the scan upright before its panels are traced.")
    return _TRACING[str(name)](state, asked, mesh)


def _floor(state: State, asked: Asked) -> Done:
    return replace(state, floor=read_points(asked.get("points"), count=3)), "Floor set by points."


def _pair(state: State, asked: Asked) -> Done:
    return replace(state, pair=read_points(asked.get("points"), count=2)), "Left and right set."


def _unpick(state: State, _asked: Asked) -> Done:
    return replace(state, floor=(), pair=(), flip=False), "Floor, middle and front as found."


def _flip(state: State, _asked: Asked) -> Done:
    return replace(state, flip=not state.flip), "Front and rear changed about."


def _within(state: State, asked: Asked) -> Done:
    try:
        within = round(float(asked.get("mm", "")), 1)
    except (TypeError, ValueError):
        within = -1.0
    if not 0.0 <= within <= 300.0:
        raise InputError("How far over the floor the scan is cut must lie between 0 and 300 mm.")
    return replace(state, within_mm=within), f"Floor cut {within:g} mm over its plane."


def _begin(state: State, asked: Asked, _mesh: str) -> Done:
    if len(state.drafts) >= MOST_DRAFTS:
        raise InputError(f"A bench has {MOST_DRAFTS} outlines at most.")
    what = asked.get("keep_out", "")
    keep_out = None if what == OPENING else _keep_out_kind(what)
    on = str(asked.get("on", "")) if what else ""
    if what and not any(item.is_panel and item.name == on for item in state.drafts):
        raise InputError(
            f"Say which panel the {'opening' if what == OPENING else 'keep-out'} lies on."
        )
    name = _free_name(state, asked, as_panel=not on)
    draft = Draft(name, Outline(), keep_out, on)
    return replace(state, drafts=(*state.drafts, draft)), f"“{name}” begun."


def _keep_out_kind(word: Any) -> KeepOutKind | None:
    if word == "":
        return None
    try:
        return KeepOutKind(word)
    except ValueError as error:
        raise InputError("Choose from the list why the place stays free.") from error


def _free_name(state: State, asked: Asked, *, as_panel: bool) -> str:
    name = " ".join(str(asked.get("name", "")).split())
    if not _NAME.fullmatch(name):
        raise InputError(
            "Give it a name of letters, digits, spaces and hyphens, such as fender-left; files "
            "are called by it."
        )
    same = [item for item in state.drafts if item.name.casefold() == name.casefold()]
    if any(item.is_panel == as_panel for item in same):
        raise InputError(f"There is a “{name}” already; choose another name.")
    return name


def _drop(state: State, asked: Asked, _mesh: str) -> Done:
    number = _number(asked, "draft")
    gone = state.draft(number)
    if gone.is_panel and any(item.on == gone.name for item in state.drafts):
        raise InputError(f"Openings or keep-outs lie on “{gone.name}”; drop these first.")
    drafts = tuple(item for i, item in enumerate(state.drafts) if i != number)
    return replace(state, drafts=drafts), f"“{gone.name}” dropped."


def _number(asked: Asked, name: str) -> int:
    value = asked.get(name)
    if not isinstance(value, int) or isinstance(value, bool):
        raise InputError("The page is out of date; open it anew.")
    return value


def _on_outline(
    change: Callable[[Outline, Asked, str], Outline], sentence: str
) -> Callable[[State, Asked, str], Done]:
    def act(state: State, asked: Asked, mesh: str) -> Done:
        number = _number(asked, "draft")
        draft = state.draft(number)
        outline = change(draft.outline, asked, mesh)
        return (
            state.with_draft(number, replace(draft, outline=outline)),
            sentence.format(draft.name),
        )

    return act


def _placed(asked: Asked, mesh: str) -> tuple[float, float, float]:
    (point,) = read_points([asked.get("at")], count=1)
    snap = asked.get("snap_mm", 0.0)
    if not isinstance(snap, int | float) or isinstance(snap, bool):
        raise InputError("The page is out of date; open it anew.")
    return put_on(mesh, point, snap_mm=float(snap))


def _point(outline: Outline, asked: Asked, mesh: str) -> Outline:
    after = None if asked.get("after") is None else _number(asked, "after")
    place = _placed(asked, mesh)
    if after is None and outline.nodes and math.dist(outline.nodes[-1].at_mm, place) < _SAME_MM:
        # A finger in a wet glove taps twice; nobody wants two points there.
        return outline
    return outline.with_node(place, after=after)


def _move(outline: Outline, asked: Asked, mesh: str) -> Outline:
    return outline.moved(_number(asked, "node"), _placed(asked, mesh))


def _remove(outline: Outline, asked: Asked, _mesh: str) -> Outline:
    return outline.without(_number(asked, "node"))


def _close(outline: Outline, _asked: Asked, _mesh: str) -> Outline:
    return outline.joined()


def _edge(outline: Outline, asked: Asked, _mesh: str) -> Outline:
    name = " ".join(str(asked.get("name", "")).split())
    try:
        kind = EdgeKind(str(asked.get("kind")))
    except ValueError as error:
        raise InputError("Choose from the list what lies beyond the edge.") from error
    if len(name) > _MOST_EDGE_NAME or not name.isprintable():
        raise InputError(f"An edge's name has {_MOST_EDGE_NAME} letters at most.")
    corner = asked.get("corner") is True
    return outline.with_edge(_number(asked, "node"), corner=corner, kind=kind, name=name)


def _straight(outline: Outline, asked: Asked, _mesh: str) -> Outline:
    return outline.with_straight(_number(asked, "node"), straight=asked.get("straight") is True)


_STANDING: Mapping[str, Callable[[State, Asked], Done]] = {
    "floor": _floor,
    "pair": _pair,
    "unpick": _unpick,
    "flip": _flip,
    "within": _within,
}
_TRACING: Mapping[str, Callable[[State, Asked, str], Done]] = {
    "begin": _begin,
    "drop": _drop,
    "point": _on_outline(_point, "Point put on “{}”."),
    "move": _on_outline(_move, "Point of “{}” moved."),
    "remove": _on_outline(_remove, "Point of “{}” taken away."),
    "close": _on_outline(_close, "“{}” closed."),
    "edge": _on_outline(_edge, "Edge of “{}” set."),
    "straight": _on_outline(_straight, "Line of “{}” changed."),
}
