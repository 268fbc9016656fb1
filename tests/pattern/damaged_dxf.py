"""DXF files with the sins of the real world, made from good drawings by a seed."""

import math
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np

from layflat.pattern import Curve
from pattern.truth import Case, Loop, crossed, good_drawing, renamed

VERSIONS = ("R2000", "R2004", "R2007", "R2010", "R2013", "R2018")
FORMS = ("lines", "polyline", "old polyline", "spline", "block", "from below", "nested")
LOOP_SINS = {
    "gap": "right", "wide gap": "asked", "doubled": "right", "doubled reversed": "right",
    "nearly doubled": "right", "lines doubled": "right", "partly doubled": "right",
    "dust": "right", "stray": "asked", "crossed": "refused", "competing": "asked",
}  # fmt: skip
FILE_SINS = {
    "no unit": "asked", "contradiction": "asked", "metres called mm": "asked", "inches": "right",
    "frozen copy": "right", "outlines off": "asked", "other things": "right", "paper": "right",
    "lifted": "right", "sloping": "asked", "no layers": "right", "R12": "asked", "binary": "right",
    "foreign names": "right", "truncated": "refused", "not a number": "refused",
    "invisible copy": "asked", "no block": "right",
}  # fmt: skip
IN_R12 = ("lines", "old polyline")


class Maker:
    """Draws a good drawing with sins."""

    def __init__(self, rng: np.random.Generator, case: Case, *, version: str, layers: bool) -> None:
        self.rng, self.case, self.version, self.layers = rng, case, version, layers
        self.document = ezdxf.new(version, units=4)
        self.space = self.document.modelspace()
        self.scale = 1.0
        self.z = 0.0
        self.blocks = 0

    def loop(self, loop: Loop, sin: str) -> None:
        """Draw one loop in some form, with one sin or none."""
        layer = ("CUTOUT" if loop.hole else "OUTLINE") if self.layers else "0"
        where = {"layer": layer}
        if loop.ellipse is not None:
            self.ellipse(loop.ellipse, where)
            return
        curve = Curve(loop.curve.points_mm * self.scale, loop.curve.bulges)
        if self.z:
            self.lwpolyline(self.space, curve, {**where, "elevation": self.z})
            return
        loose = sin in ("gap", "wide gap", "competing", "lines doubled", "partly doubled", "stray")
        forms = [f for f in FORMS if self.version != "R12" or f in IN_R12]
        form = "lines" if loose else str(self.rng.choice(forms))
        if sin == "crossed":
            curve = crossed(curve)
            form = "old polyline" if self.version == "R12" else "polyline"
        getattr(self, form.replace(" ", "_"))(curve, where, sin)
        self.extra(curve, where, sin)

    def extra(self, curve: Curve, where: dict[str, Any], sin: str) -> None:
        """What a sin adds beside the loop."""
        add = self.old_polyline if self.version == "R12" else self.polyline
        start = curve.points_mm[0]
        if sin == "doubled":
            shift = int(self.rng.integers(1, len(curve.points_mm)))
            add(Curve(np.roll(curve.points_mm, shift, 0), np.roll(curve.bulges, shift)), where, "")
        elif sin == "doubled reversed":
            points, bulges = np.roll(curve.points_mm[::-1], 1, 0), -curve.bulges[::-1]
            add(Curve(points, bulges), where, "")
        elif sin == "nearly doubled":
            turn = self.rng.uniform(0, 2 * math.pi)
            add(
                Curve(
                    curve.points_mm
                    + 0.05 * self.scale * np.array([math.cos(turn), math.sin(turn)]),
                    curve.bulges,
                ),
                where,
                "",
            )
            self.case.slack_mm = max(self.case.slack_mm, 0.08)
        elif sin == "dust":
            at = start + self.scale * np.array([3.0, 4.0])
            self.space.add_line(at, at + 0.2 * self.scale, dxfattribs=where)
            self.space.add_line(at * 1.5, at * 1.5, dxfattribs=where)
            self.space.add_circle(at + 5 * self.scale, 0.1 * self.scale, dxfattribs=where)
        elif sin == "stray":
            self.space.add_line(start, start + self.scale * np.array([-33, 44]), dxfattribs=where)

    def lines(self, curve: Curve, where: dict[str, Any], sin: str) -> None:
        ends = np.roll(curve.points_mm, -1, axis=0)
        elements = list(zip(curve.points_mm.copy(), ends.copy(), curve.bulges, strict=True))
        straight = [
            i for i, (a, b, bulge) in enumerate(elements)
            if not bulge and np.hypot(*(b - a)) > 20 * self.scale
        ]  # fmt: skip
        if sin in ("gap", "wide gap", "competing", "partly doubled") and straight:
            i = int(self.rng.choice(straight))
            a, b, _ = elements[i]
            along = (b - a) / np.hypot(*(b - a))
            if sin == "partly doubled":
                low, high = np.sort(self.rng.uniform(-0.0, 1.0, 2)) * np.hypot(*(b - a))
                high = max(high, low + 1.0 * self.scale)
                elements.append((a + low * along, a + min(high, np.hypot(*(b - a))) * along, 0.0))
            else:
                wide = {"gap": 0.2, "competing": 0.3}.get(sin, 2.0) * self.scale
                elements[i] = (a, b - wide * along, 0.0)
                self.case.slack_mm = max(self.case.slack_mm, 0.3 if sin == "wide gap" else 0.05)
                if sin == "competing":
                    near = b - wide * along + 0.4 * self.scale * np.array([along[1], -along[0]])
                    elements.append((near, near + 60 * (near - b), 0.0))
        if sin == "lines doubled":
            count = int(self.rng.integers(1, len(elements) + 1))
            chosen = self.rng.choice(len(elements), count, replace=False)
            elements += [(elements[i][1], elements[i][0], -elements[i][2]) for i in chosen]
        for i in self.rng.permutation(len(elements)):
            self.element(*elements[i], where)

    def element(self, a: np.ndarray, b: np.ndarray, bulge: float, where: dict[str, Any]) -> None:
        if not bulge:
            ends = (a, b) if self.rng.random() < 0.5 else (b, a)
            self.space.add_line(*ends, dxfattribs=where)
            return
        one, two = complex(*a), complex(*b)
        centre = (one + two) / 2 + 1j * (two - one) * (1 - bulge**2) / (4 * bulge)
        start, end = (
            math.degrees(math.atan2((z - centre).imag, (z - centre).real)) for z in (one, two)
        )
        ends = (start, end) if bulge > 0 else (end, start)
        centre_at = (centre.real, centre.imag)
        self.space.add_arc(centre_at, abs(one - centre), *ends, dxfattribs=where)

    def lwpolyline(self, space: Any, curve: Curve, where: dict[str, Any]) -> None:
        rows = [(*p, b) for p, b in zip(curve.points_mm, curve.bulges, strict=True)]
        space.add_lwpolyline(rows, "xyb", close=True, dxfattribs=where)

    def polyline(self, curve: Curve, where: dict[str, Any], _sin: str) -> None:
        self.lwpolyline(self.space, curve, where)

    def old_polyline(self, curve: Curve, where: dict[str, Any], _sin: str) -> None:
        rows = [(*p, b) for p, b in zip(curve.points_mm, curve.bulges, strict=True)]
        self.space.add_polyline2d(rows, format="xyb", close=True, dxfattribs=where)

    def from_below(self, curve: Curve, where: dict[str, Any], _sin: str) -> None:
        seen = Curve(curve.points_mm * [-1, 1], -curve.bulges)
        self.lwpolyline(self.space, seen, {**where, "extrusion": (0, 0, -1)})

    def spline(self, curve: Curve, where: dict[str, Any], _sin: str) -> None:
        """The loop as one NURBS of degree 2; an arc's middle weight is the cosine of half of it."""
        controls, weights, knots = [curve.points_mm[0]], [1.0], [0.0] * 3
        rolled = np.roll(curve.points_mm, -1, axis=0)
        for n, (a, b, bulge) in enumerate(zip(curve.points_mm, rolled, curve.bulges, strict=True)):
            half = 2 * math.atan(bulge)
            turned = np.array([(b - a)[1], -(b - a)[0]])
            parts = [(a, b, half)]
            if abs(half) > 1.2:  # in two halves: a half circle has no middle point
                middle = (a + b) / 2 + 0.5 * bulge * turned
                parts = [(a, middle, half / 2), (middle, b, half / 2)]
            for k, (p, q, h) in enumerate(parts):
                normal = np.array([(q - p)[1], -(q - p)[0]])
                controls += [(p + q) / 2 + 0.5 * math.tan(h) * normal, q]
                weights += [math.cos(h), 1.0]
                knots += [n + (k + 1) / len(parts)] * 2
        knots = [*knots, knots[-1]]
        self.space.add_rational_spline(controls, weights, degree=2, knots=knots, dxfattribs=where)

    def block(self, curve: Curve, where: dict[str, Any], _sin: str) -> None:
        """The loop out of a block that is moved, turned, scaled and mirrored."""
        size = float(self.rng.uniform(0.2, 5.0))
        turn, mirror = float(self.rng.uniform(0, 360)), bool(self.rng.random() < 0.5)
        at = curve.points_mm.mean(axis=0)
        spin = np.exp(-1j * math.radians(turn))
        z = (curve.points_mm - at) @ [1, 1j] * spin / size
        points = np.column_stack((-z.real if mirror else z.real, z.imag))
        inner = Curve(points, -curve.bulges if mirror else curve.bulges)
        self.blocks += 1
        block = self.document.blocks.new(f"B{self.blocks}")
        self.lwpolyline(block, inner, {"layer": "0"})
        scale = {"xscale": -size if mirror else size, "yscale": size, "rotation": turn}
        self.space.add_blockref(f"B{self.blocks}", at, dxfattribs={**where, **scale})

    def nested(self, curve: Curve, where: dict[str, Any], _sin: str) -> None:
        """A block in a block, the outer one stretched unequally against the inner one."""
        at = curve.points_mm.mean(axis=0)
        self.blocks += 1
        inner = self.document.blocks.new(f"I{self.blocks}")
        self.lwpolyline(inner, Curve(curve.points_mm - at, curve.bulges), {"layer": "0"})
        outer = self.document.blocks.new(f"O{self.blocks}")
        outer.add_blockref(f"I{self.blocks}", (0, 0), dxfattribs={"xscale": 0.5, "yscale": 2.0})
        stretch = {"xscale": 2.0, "yscale": 0.5}
        self.space.add_blockref(f"O{self.blocks}", at, dxfattribs={**where, **stretch})

    def ellipse(self, shape: tuple[float, ...], where: dict[str, Any]) -> None:
        """An ELLIPSE, its points as an old polyline, or a circle in a stretched block."""
        x, y, a, b = (value * self.scale for value in shape[:4])
        turn, layer = shape[4], where
        if self.version == "R12" or self.z:
            t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
            z = complex(x, y) + (a * np.cos(t) + 1j * b * np.sin(t)) * np.exp(1j * turn)
            points = [(p.real, p.imag) for p in z]
            height = {"elevation": (0, 0, self.z)}
            self.space.add_polyline2d(points, close=True, dxfattribs={**layer, **height})
        elif self.rng.random() < 0.5:
            axis = (a * math.cos(turn), a * math.sin(turn))
            self.space.add_ellipse((x, y), axis, ratio=b / a, dxfattribs=layer)
        else:
            self.blocks += 1
            block = self.document.blocks.new(f"C{self.blocks}")
            block.add_circle((0, 0), 1.0, dxfattribs={"layer": "0"})
            stretch = {"xscale": a, "yscale": b, "rotation": math.degrees(turn)}
            self.space.add_blockref(f"C{self.blocks}", (x, y), dxfattribs={**layer, **stretch})


def damaged_dxf(seed: int, folder: Path) -> Case:
    """A damaged DXF with its truth."""
    rng = np.random.default_rng(seed)
    loops = good_drawing(rng)
    names = list(FILE_SINS)
    turn = seed // 3 * 2 + seed % 3 - 1
    sins = {names[turn % len(names)]: ""} if seed % 3 else {}
    if rng.random() < 0.3:
        sins.setdefault(str(rng.choice(names[:-1])), "")
    case = Case(folder / f"damaged-{seed}.dxf", loops)
    case.sins = {sin: FILE_SINS[sin] for sin in sins}
    if "foreign names" in sins:
        case.loops = loops = renamed(loops, {"hood": "Häube é", "flap": "Blende ñ", "sill": "Øre"})
    version = "R12" if "R12" in sins else str(rng.choice(VERSIONS))
    maker = Maker(rng, case, version=version, layers="no layers" not in sins)
    set_unit(maker, sins, case)
    maker.z = 7.5 if "lifted" in sins and version != "R12" else 0.0
    wanted = list(LOOP_SINS)
    for i, loop in enumerate(loops):
        usable = loop.ellipse is None and not maker.z and (len(loop.curve.points_mm) > 3)
        sin = wanted[(seed + i) % len(wanted)] if usable and rng.random() < 0.55 else ""
        if sin == "crossed" and rng.random() < 0.7:
            sin = "gap"
        if sin:
            case.sins[sin] = LOOP_SINS[sin]
        maker.loop(loop, sin)
        if not loop.hole:
            text = maker.space.add_text(loop.name, height=4 * maker.scale)
            text.set_placement(loop.curve.points_mm.mean(axis=0) * maker.scale + 0.1)
    case.said = {
        kind
        for sin, kind in (("gap", "gap"), ("doubled", "doubled"), ("dust", "dust"))
        if sin in case.sins
    }
    other_things(maker, sins, case)
    save(maker, sins, case)
    return case


def set_unit(maker: Maker, sins: dict[str, str], case: Case) -> None:
    """Units, and numbers in them; the first of several sins about units counts."""
    header = maker.document.header
    about = [sin for sin in sins if sin in UNIT_SINS]
    for sin in about[1:]:
        del sins[sin], case.sins[sin]
    kind = about[0] if about else ""
    if kind == "no unit":
        header["$INSUNITS"] = 0
        maker.scale = 1 / 25.4 if maker.rng.random() < 0.5 else 1.0
        case.answers["unit"] = "in" if maker.scale < 1 else "mm"
    elif kind == "contradiction":
        header["$INSUNITS"], header["$MEASUREMENT"] = 1, 1
        case.answers["unit"] = "mm"
    elif kind == "metres called mm":
        maker.scale, case.answers["unit"] = 0.001, "m"
    elif kind == "inches":
        header["$INSUNITS"], header["$MEASUREMENT"] = 1, 0
        maker.scale = 1 / 25.4
    elif kind == "R12":
        case.answers["unit"] = "mm"


UNIT_SINS = ("no unit", "contradiction", "metres called mm", "inches", "R12")


def other_things(maker: Maker, sins: dict[str, str], case: Case) -> None:
    """What stands beside the pieces in the drawing."""
    space, document, scale = maker.space, maker.document, maker.scale
    first = case.loops[0].curve
    old = maker.version == "R12"
    copy = Curve(first.points_mm * scale + 5.0 * scale, first.bulges)
    draw = maker.old_polyline if old else maker.polyline
    if "frozen copy" in sins:
        document.layers.add("SPARE").freeze()
        draw(copy, {"layer": "SPARE"}, "")
        if not maker.layers:
            case.sins["frozen copy"] = "asked"
    if "invisible copy" in sins:
        if old:
            del case.sins["invisible copy"]
        else:
            draw(copy, {"layer": "OUTLINE" if maker.layers else "0", "invisible": 1}, "")
    if "outlines off" in sins:
        if maker.layers:
            document.layers.add("OUTLINE").off()
            case.answers["hidden"] = "take"
            case.said -= {"gap", "doubled", "dust"}
        else:
            del case.sins["outlines off"]
    if "other things" in sins:
        no_lines(maker)
    if "paper" in sins and not old:
        document.layout("Layout1").add_lwpolyline([(0, 0), (50, 0), (50, 50)], close=True)
    if "sloping" in sins:
        layer = {"layer": "OUTLINE" if maker.layers else "0"}
        at = first.points_mm[0] * scale
        space.add_line((*at, 0), (*(at + scale), 30 * scale), dxfattribs=layer)
        case.answers["height"] = "leave-out"
    if "no block" in sins:
        space.add_blockref("GONE", (0, 0), dxfattribs={"layer": "OUTLINE"})
        case.said.add("file")


def no_lines(maker: Maker) -> None:
    """Texts, hatches, dimensions, meshes, and a line of a grid."""
    space, scale, old = maker.space, maker.scale, maker.version == "R12"
    layer = {"layer": "DIM"} if maker.layers else {}
    space.add_text("a note", dxfattribs=layer).set_placement((-900 * scale, 900 * scale))
    space.add_solid([(0, 0), (1, 0), (0, 1)], dxfattribs=layer)
    if not old:
        hatch = space.add_hatch(color=2, dxfattribs=layer)
        hatch.paths.add_polyline_path([(0, 0), (90, 0), (90, 90)], is_closed=True)
        space.add_linear_dim((0, 50), (0, 0), (100, 0), dxfattribs=layer).render()
        space.add_mesh(dxfattribs=layer)
        space.add_xline((0, 0), (1, 1), dxfattribs=layer)
    if maker.layers:
        space.add_line((-500, 0), (900, 5), dxfattribs={"layer": "GRID"})


def save(maker: Maker, sins: dict[str, str], case: Case) -> None:
    """Write the file; some sins are done to its bytes."""
    path = case.path
    maker.document.saveas(path, fmt="bin" if "binary" in sins else "asc")
    if "truncated" in sins:
        data = path.read_bytes()
        path.write_bytes(data[: int(maker.rng.uniform(0.5, 0.93) * len(data))])
    if "not a number" in sins:
        if "binary" in sins:
            del case.sins["not a number"]
            return
        lines = path.read_text(encoding="utf-8", errors="surrogateescape").split("\n")
        begin = next(i for i, line in enumerate(lines) if line.strip() == "ENTITIES")
        at = [i for i in range(begin, len(lines) - 1) if lines[i].strip() == "10"]
        lines[int(maker.rng.choice(at)) + 1] = "nan"
        path.write_text("\n".join(lines), encoding="utf-8", errors="surrogateescape")
