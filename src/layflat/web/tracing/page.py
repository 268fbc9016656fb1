"""What the page of a template shows: the flat picture with its lines, and doubts one by one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.shaping.pictures import path_of

_NEAR_MM: Final = 25.0
_WORDS: Final = {
    "accepted": "right as it is",
    "not a line": "no line of the template",
    "through": "the line runs through",
    "outline": "this line is the outline",
    "hole": "a hole",
    "landmark": "a mark, no hole",
}


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """A stretch that a person should look at.

    Attributes:
        number: the first is 1.
        why: in words.
        curve: "outline", or "cut-out 2".
        length_mm: how long it is.
        x_mm, y_mm: its middle.
        box: of a picture of what is near it, as SVG's viewBox.
        path: of the stretch, as SVG's d.
    """

    number: int
    why: str
    curve: str
    length_mm: float
    x_mm: float
    y_mm: float
    box: str
    path: str

    @property
    def place(self) -> str:
        """Its middle as forms send it."""
        return f"{self.x_mm} {self.y_mm}"


@dataclass(frozen=True, kw_only=True)
class MaybeHole:
    """A mark that may be a hole.

    Attributes:
        number: it comes after the unsure stretches.
        kind: "dot" or "square": how it looks.
        across_mm: its size.
        x_mm, y_mm: its middle.
        box: of a picture of what is near it, as SVG's viewBox.
    """

    number: int
    kind: str
    across_mm: float
    x_mm: float
    y_mm: float
    box: str

    @property
    def ring_mm(self) -> float:
        """The radius of a ring that leaves the mark to be seen."""
        return self.across_mm + 4.0

    @property
    def y_down(self) -> float:
        """Its middle as pictures have it, y down."""
        return -self.y_mm

    @property
    def place(self) -> str:
        """Its middle as forms send it."""
        return f"{self.x_mm} {self.y_mm}"


@dataclass(frozen=True, kw_only=True)
class Righted:
    """A correction as its line says it."""

    number: int
    words: str
    places: str


def shown(result: Mapping[str, Any], corrections: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What the template "tracing/template.html" is given of a reading."""
    x, y, wide, high = result["box"]
    curves = result.get("curves", [])
    return {
        "result": result,
        "frame": result["frame"],
        "box": f"{x:g} {-(y + high):g} {wide:g} {high:g}",
        "image": {"x": x, "y": -(y + high), "width": wide, "height": high},
        "unit": round(0.008 * max(wide, high), 2),
        "outline": path_of([one["line"] for one in curves if one["kind"] == "outline"]),
        "cut_outs": path_of([one["line"] for one in curves if one["kind"] != "outline"]),
        "curves": [
            {"name": _name(curves, i), "length_mm": one["length_mm"], "mm": one["interval_mm"]}
            for i, one in enumerate(curves)
        ],
        "landmarks": [
            {"kind": one["kind"], "x": one["at"][0], "y": -one["at"][1]}
            for one in result.get("landmarks", [])
        ],
        "doubts": doubts_of(result),
        "spots": spots_of(result),
        "places": [
            {"x": place[0], "y": -place[1], "box": _near(*place)} for place in result["places"]
        ],
        "righted": [
            _righted(i, one, result["frame"]["scale"]) for i, one in enumerate(corrections, 1)
        ],
        "widest_mm": max((one["interval_mm"] for one in curves), default=0.0),
        "length_percent": 200 * result["frame"]["scale_doubt"],
    }


def doubts_of(result: Mapping[str, Any]) -> list[Doubt]:
    """The unsure stretches of all lines, numbered through."""
    curves = result.get("curves", [])
    found: list[Doubt] = []
    for i, curve in enumerate(curves):
        for each in curve["unsure"]:
            x, y = each["at"]
            found.append(
                Doubt(
                    number=len(found) + 1,
                    why=each["why"],
                    curve=_name(curves, i),
                    length_mm=each["length_mm"],
                    x_mm=x,
                    y_mm=y,
                    box=_near(x, y, max(_NEAR_MM, 0.7 * each["length_mm"])),
                    path=path_of([each["line"]]),
                )
            )
    return found


def spots_of(result: Mapping[str, Any]) -> list[MaybeHole]:
    """The marks that may be holes, numbered after the unsure stretches."""
    asked = [one for one in result.get("landmarks", []) if one.get("maybe_hole")]
    first = 1 + sum(len(curve["unsure"]) for curve in result.get("curves", []))
    return [
        MaybeHole(
            number=number,
            kind=one["kind"],
            across_mm=one["across_mm"],
            x_mm=one["at"][0],
            y_mm=one["at"][1],
            box=_near(*one["at"]),
        )
        for number, one in enumerate(asked, first)
    ]


def _name(curves: Sequence[Mapping[str, Any]], index: int) -> str:
    if curves[index]["kind"] == "outline":
        return "outline"
    return f"cut-out {sum(one['kind'] != 'outline' for one in curves[: index + 1])}"


def _near(x: float, y: float, half: float = _NEAR_MM) -> str:
    return f"{x - half:.1f} {-y - half:.1f} {2 * half:.1f} {2 * half:.1f}"


def _righted(number: int, one: Mapping[str, Any], scale: float) -> Righted:
    values = [scale * value for value in one["points"]]
    places = "; ".join(
        f"{x:.0f}, {y:.0f} mm" for x, y in zip(values[::2], values[1::2], strict=True)
    )
    return Righted(number=number, words=_WORDS.get(one["kind"], one["kind"]), places=places)
