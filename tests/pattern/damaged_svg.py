"""SVG files with the sins of the real world, made from good drawings by a seed."""

import math
from pathlib import Path

import numpy as np

from layflat.pattern import Curve
from pattern.truth import Case, Loop, crossed, good_drawing, renamed

LOOP_SINS = {
    "gap": "right", "wide gap": "asked", "doubled": "right", "doubled reversed": "right",
    "nearly doubled": "right", "dust": "right", "stray": "asked", "crossed": "refused",
}  # fmt: skip
FILE_SINS = {
    "pixels": "asked", "inches": "right", "centimetres": "right", "hidden copy": "asked",
    "hidden spare": "right", "clip": "asked", "style sheet": "right", "hiding style": "asked",
    "nested svg": "right", "other things": "right", "no layers": "right", "unseen": "asked",
    "foreign names": "right", "truncated": "refused", "entity": "refused", "circle of clones":
    "refused", "another file": "refused", "no number": "refused", "moved root": "right",
    "lost clone": "right",
}  # fmt: skip
IN_OUTLINES = {
    "no number": '<path d="M 0 0 L nan 5 L 9 9 Z"/>',
    "circle of clones": '<g id="ring"><use href="#ring"/></g>',
    "another file": '<use href="other.svg#piece"/>',
    "lost clone": '<use href="#nowhere"/>',
}
BESIDE = {
    "style sheet": "<style>path { stroke-width: 2 }</style>",
    "hiding style": "<style>.a { display: none }</style>",
    "other things": '<image width="9" height="9"/><text x="-5" y="9999">a note</text>',
}
FORMS = ("path", "lines", "clone", "symbol", "turned", "mirrored", "beziers")


class Maker:
    """Draws a good drawing with sins; y runs down in an SVG."""

    def __init__(self, rng: np.random.Generator, case: Case, *, scale: float) -> None:
        self.rng, self.case, self.scale = rng, case, scale
        self.defs: list[str] = []
        self.bodies: dict[str, list[str]] = {"OUTLINE": [], "CUTOUT": []}

    def loop(self, loop: Loop, sin: str) -> None:
        """Draw one loop in some form, with one sin or none."""
        body = self.bodies["CUTOUT" if loop.hole else "OUTLINE"]
        if loop.ellipse is not None:
            body.append(self.ellipse(loop.ellipse))
            return
        curve = Curve(loop.curve.points_mm * [self.scale, -self.scale], -loop.curve.bulges)
        name = "" if loop.hole else f' data-piece="{loop.name}"'
        loose = sin in ("gap", "wide gap", "stray")
        form = "lines" if loose else str(self.rng.choice(FORMS))
        if sin == "crossed":
            curve, form = crossed(curve), "path"
        drawn = self.lines(curve, sin) if form == "lines" else getattr(self, form)(curve, name)
        body.append(drawn)
        start = curve.points_mm[0]
        if sin == "doubled":
            shift = int(self.rng.integers(1, len(curve.points_mm)))
            points, bulges = np.roll(curve.points_mm, shift, 0), np.roll(curve.bulges, shift)
            body.append(self.path(Curve(points, bulges), ""))
        elif sin == "doubled reversed":
            points, bulges = np.roll(curve.points_mm[::-1], 1, 0), -curve.bulges[::-1]
            body.append(self.path(Curve(points, bulges), ""))
        elif sin == "nearly doubled":
            moved = Curve(curve.points_mm + 0.04 * self.scale, curve.bulges)
            body.append(self.path(moved, ""))
            self.case.slack_mm = max(self.case.slack_mm, 0.08)
        elif sin == "dust":
            x, y = start + 4 * self.scale
            r = 0.1 * self.scale
            body.append(f'<line x1="{x}" y1="{y}" x2="{x + r}" y2="{y + r}"/>')
            body.append(f'<circle cx="{x + 50 * r}" cy="{y}" r="{r}"/>')
        elif sin == "stray":
            (x, y), (u, v) = start, start + self.scale * np.array([-33, 44])
            body.append(f'<polyline points="{x},{y} {u},{v}"/>')

    def data(self, curve: Curve, *, close: bool = True) -> str:
        """Path data with arcs."""
        words = ["M {!r} {!r}".format(*map(float, curve.points_mm[0]))]
        ends = np.roll(curve.points_mm, -1, axis=0)
        for a, b, bulge in zip(curve.points_mm, ends, curve.bulges, strict=True):
            words.append(self.step(a, b, float(bulge)))
        return " ".join(words) + (" Z" if close else "")

    def step(self, a: np.ndarray, b: np.ndarray, bulge: float) -> str:
        if not bulge:
            return f"L {float(b[0])!r} {float(b[1])!r}"
        r = float(np.hypot(*(b - a))) * (1 + bulge**2) / (4 * abs(bulge))
        x, y = map(float, b)
        return f"A {r!r} {r!r} 0 {int(abs(bulge) > 1)} {int(bulge > 0)} {x!r} {y!r}"

    def path(self, curve: Curve, name: str) -> str:
        return f'<path{name} d="{self.data(curve)}"/>'

    def lines(self, curve: Curve, sin: str) -> str:
        ends = np.roll(curve.points_mm, -1, axis=0)
        elements = list(zip(curve.points_mm.copy(), ends.copy(), curve.bulges, strict=True))
        straight = [
            i for i, (a, b, k) in enumerate(elements)
            if not k and np.hypot(*(b - a)) > 20 * self.scale
        ]  # fmt: skip
        if sin in ("gap", "wide gap") and straight:
            i = int(self.rng.choice(straight))
            a, b, _ = elements[i]
            wide = (0.2 if sin == "gap" else 2.0) * self.scale
            elements[i] = (a, b - wide * (b - a) / np.hypot(*(b - a)), 0.0)
            self.case.slack_mm = max(self.case.slack_mm, 0.05 if sin == "gap" else 0.3)
        words = []
        for i in self.rng.permutation(len(elements)):
            a, b, bulge = elements[i]
            if self.rng.random() < 0.5:
                a, b, bulge = b, a, -bulge
            step = self.step(a, b, float(bulge))
            words.append(f'<path d="M {float(a[0])!r} {float(a[1])!r} {step}"/>')
        return "\n".join(words)

    def beziers(self, curve: Curve, name: str) -> str:
        """Cubics for arcs, split until they lie within a ten-thousandth of the radius."""
        words = ["M {!r} {!r}".format(*map(float, curve.points_mm[0]))]
        ends = np.roll(curve.points_mm, -1, axis=0)
        for a, b, bulge in zip(curve.points_mm, ends, curve.bulges, strict=True):
            if not bulge:
                words.append(f"L {float(b[0])!r},{float(b[1])!r}")
                continue
            one, two = complex(*a), complex(*b)
            centre = (one + two) / 2 + 1j * (two - one) * (1 - bulge**2) / (4 * bulge)
            parts = 6
            turn = 4 * math.atan(bulge) / parts
            reach = 4 / 3 * math.tan(turn / 4)
            for k in range(parts):
                p, q = (centre + (one - centre) * np.exp(1j * turn * n) for n in (k, k + 1))
                c1, c2 = p + 1j * reach * (p - centre), q - 1j * reach * (q - centre)
                numbers = [c1.real, c1.imag, c2.real, c2.imag, q.real, q.imag]
                words.append("C " + " ".join(repr(float(v)) for v in numbers))
        return f'<path{name} d="{" ".join(words)} Z"/>'

    def clone(self, curve: Curve, name: str) -> str:
        """A path in <defs>, shown by a clone of a clone."""
        n = len(self.defs)
        at = curve.points_mm.mean(axis=0)
        inner = Curve(curve.points_mm - at, curve.bulges)
        self.defs.append(f'<path id="p{n}"{name} d="{self.data(inner)}"/>')
        self.defs.append(f'<g id="g{n}"><use href="#p{n}" transform="rotate(30)"/></g>')
        x, y = map(float, at)
        return (
            f'<use xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="#g{n}" x="0" y="0" '
            f'transform="translate({x!r} {y!r}) rotate(-30)"/>'
        )

    def symbol(self, curve: Curve, name: str) -> str:
        """A symbol whose view box is twice as large as where it is shown."""
        n = len(self.defs)
        low = curve.points_mm.min(axis=0) - 900 * self.scale
        side = 4000.0 * self.scale
        inner = Curve(2 * (curve.points_mm - low), curve.bulges)
        self.defs.append(
            f'<symbol id="s{n}" viewBox="0 0 {2 * side!r} {2 * side!r}">'
            f'<path{name} d="{self.data(inner)}"/></symbol>'
        )
        x, y = map(float, low)
        return f'<use href="#s{n}" x="{x!r}" y="{y!r}" width="{side!r}" height="{side!r}"/>'

    def turned(self, curve: Curve, name: str) -> str:
        """In groups that turn, scale and move it, one in the other."""
        size, turn = float(self.rng.uniform(0.3, 4)), float(self.rng.uniform(0, 360))
        z = curve.points_mm @ [1, 1j] * np.exp(-1j * math.radians(turn)) / size - complex(70, -30)
        inner = Curve(np.column_stack((z.real, z.imag)), curve.bulges)
        return (
            f'<g transform="rotate({turn!r})"><g transform="scale({size!r}) translate(70, -30)">'
            f'<path{name} d="{self.data(inner)}"/></g></g>'
        )

    def mirrored(self, curve: Curve, name: str) -> str:
        inner = Curve(curve.points_mm * [-1, 1], -curve.bulges)
        return f'<g transform="matrix(-1 0 0 1 0 0)"><path{name} d="{self.data(inner)}"/></g>'

    def ellipse(self, shape: tuple[float, ...]) -> str:
        x, y, a, b = (value * self.scale for value in shape[:4])
        turn = -math.degrees(shape[4])
        if self.rng.random() < 0.5:
            move = f"rotate({turn!r} {x!r} {-y!r})"
            return f'<ellipse cx="{x!r}" cy="{-y!r}" rx="{a!r}" ry="{b!r}" transform="{move}"/>'
        move = f"translate({x!r} {-y!r}) rotate({turn!r}) scale({a!r} {b!r})"
        return f'<circle r="1" transform="{move}"/>'


def damaged_svg(seed: int, folder: Path) -> Case:
    """A damaged SVG with its truth."""
    rng = np.random.default_rng(10_000 + seed)
    loops = good_drawing(rng)
    names = list(FILE_SINS)
    turn = seed // 4 * 3 + seed % 4 - 1
    sins = {names[turn % len(names)]} if seed % 4 else set()
    case = Case(folder / f"damaged-{seed}.svg", loops)
    case.sins = {sin: FILE_SINS[sin] for sin in sorted(sins)}
    if "foreign names" in sins:
        case.loops = loops = renamed(loops, {"hood": "Häube é", "flap": "Blende ñ", "sill": "Øre"})
    scale = {"pixels": 1.0, "inches": 1 / 25.4, "centimetres": 0.1}.get(next(iter(sins), ""), 1.0)
    if "pixels" in sins:
        scale = 96 / 25.4 if rng.random() < 0.5 else 1.0
        case.answers["unit"] = "px" if scale > 1 else "mm"
    maker = Maker(rng, case, scale=scale)
    wanted = list(LOOP_SINS)
    texts = []
    for i, loop in enumerate(loops):
        usable = loop.ellipse is None and len(loop.curve.points_mm) > 3
        sin = wanted[(seed + i) % len(wanted)] if usable and rng.random() < 0.5 else ""
        sin = "gap" if sin == "crossed" and rng.random() < 0.7 else sin
        if sin:
            case.sins[sin] = LOOP_SINS[sin]
        maker.loop(loop, sin)
        if not loop.hole:
            x, y = map(float, loop.curve.points_mm.mean(axis=0) * scale)
            texts.append(f'<text x="{x!r}" y="{-y!r}">{loop.name}</text>')
    case.said = {
        kind
        for sin, kind in (("gap", "gap"), ("doubled", "doubled"), ("dust", "dust"))
        if sin in case.sins
    }
    case.path.write_text(whole(maker, sins, texts, case), encoding="utf-8")
    if "truncated" in sins:
        data = case.path.read_bytes()
        case.path.write_bytes(data[: int(rng.uniform(0.3, 0.97) * len(data))])
    return case


def whole(maker: Maker, sins: set[str], texts: list[str], case: Case) -> str:
    """The file with what stands beside the pieces."""
    scale = maker.scale
    first = maker.case.loops[0].curve
    moved = Curve((first.points_mm + 5) * [scale, -scale], -first.bulges)
    copy = maker.path(moved, "")
    layers = "no layers" not in sins
    bodies = maker.bodies
    if "hidden copy" in sins:
        bodies["OUTLINE"].append(copy.replace("<path", '<path style="fill:none; display: none"'))
    if "unseen" in sins:
        bodies["OUTLINE"].append(copy.replace("<path", '<path fill="none" stroke="none"'))
    if "clip" in sins:
        bodies["OUTLINE"][0] = f'<g clip-path="url(#c)">{bodies["OUTLINE"][0]}</g>'
    for sin, element in IN_OUTLINES.items():
        if sin in sins:
            bodies["OUTLINE"].append(element)
    if "lost clone" in sins:
        case.said.add("clone")
    inner = "".join(
        (f'<g id="{name}">' if layers else "<g>") + "\n".join(lines) + "</g>\n"
        for name, lines in bodies.items()
    )
    if "nested svg" in sins:
        side = 8000 * scale
        box = f'x="{-side!r}" y="{-side!r}" width="{2 * side!r}" height="{2 * side!r}"'
        inner = f'<svg {box} viewBox="{-side!r} {-side!r} {2 * side!r} {2 * side!r}">{inner}</svg>'
    beside = "".join(texts)
    beside += "".join(element for sin, element in BESIDE.items() if sin in sins)
    if "hidden spare" in sins:
        beside += f'<g id="spare" visibility="hidden">{copy}</g>'
    unit = {"inches": ("in", 25.4), "centimetres": ("cm", 10.0)}
    word, per = next((unit[sin] for sin in sins if sin in unit), ("mm", 1.0))
    side = 6000.0
    box = f'viewBox="{-side * scale!r} {-side * scale!r} {2 * side * scale!r} {2 * side * scale!r}"'
    size = f'width="{2 * side / per!r}{word}" height="{2 * side / per!r}{word}" {box}'
    size = "" if "pixels" in sins else size
    head = '<!DOCTYPE svg [<!ENTITY a "b">]>' if "entity" in sins else ""
    move = 'transform="translate(100 50) rotate(0)"' if "moved root" in sins else ""
    if move:
        inner = f'<g transform="translate(-100 -50)">{inner}</g>'
        beside = f'<g transform="translate(-100 -50)">{beside}</g>'
    defs = "".join(maker.defs) + '<clipPath id="c"><rect width="9" height="9"/></clipPath>'
    return (
        f'{head}<svg xmlns="http://www.w3.org/2000/svg" {size} {move}><defs>{defs}</defs>'
        f"{inner}{beside}</svg>"
    )
