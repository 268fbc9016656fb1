"""A workshop's job of made-up pieces, for the papers' tests."""

import io
from datetime import date
from decimal import Decimal
from functools import cache

import numpy as np
from PIL import Image

from layflat.base import FloatArray
from layflat.film import Film, Flat, Strain
from layflat.nest import Layout, Placement, Section, Stock
from layflat.papers import (
    CARE,
    PASSPORT,
    CareSheet,
    Effort,
    FitSheet,
    Head,
    LayingPiece,
    LayingSheet,
    OfferedCover,
    OfferLine,
    OfferSheet,
    PassportFlag,
    PassportPiece,
    PassportSheet,
    PriceRow,
    PriceSheet,
    WeedingSheet,
    qr_svg,
)
from layflat.pattern import Curve, EdgeFinish, EdgeRecord, Finish, Pattern
from layflat.surface import Edge, EdgeKind, KeepOut, KeepOutKind, Loop, Mesh, Region

DAY = date(2031, 5, 6)
FILM = Film(
    name="Clear 150",
    thickness_um=150.0,
    youngs_modulus_mpa=20.0,
    poisson_ratio=0.45,
    stretch_limit=0.05,
    finger_limit=0.02,
    one_direction=False,
    sources={
        "thickness_um": "measured with a micrometer on five places of the roll",
        "youngs_modulus_mpa": "assumption of this program",
        "stretch_limit": "common practice, no source",
    },
)


@cache
def flat(*, strength: float = 1.0) -> Flat:
    """A bowl-shaped patch of 900 × 520 mm whose strain grows to its middle and its corners."""
    columns, rows = 61, 37
    x, y = np.meshgrid(np.linspace(0, 900, columns), np.linspace(0, 520, rows))
    u, v = (x - 450) / 450, (y - 260) / 260
    bent = y + 40 * (1 - u**2)
    points = np.column_stack((x.ravel(), bent.ravel()))
    vertices = np.column_stack((points, (-60 * (u**2 + 0.4 * v**2)).ravel()))
    i = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    faces = np.concatenate(
        [
            np.column_stack((i, i + 1, i + columns)),
            np.column_stack((i + 1, i + columns + 1, i + columns)),
        ]
    )
    centres = np.column_stack((u.ravel(), v.ravel()))[faces].mean(axis=1)
    middle = np.exp(-3 * ((centres[:, 0] + 0.25) ** 2 + centres[:, 1] ** 2))
    corner = np.exp(-8 * ((centres[:, 0] - 0.9) ** 2 + (centres[:, 1] - 0.8) ** 2))
    return Flat(
        mesh=Mesh(vertices_mm=vertices, faces=faces),
        points_mm=points,
        film=FILM,
        finger_aversion=1.0,
        energy_mj=412.0,
        strain=Strain(
            greatest=1 + strength * (0.082 * middle + 0.004),
            least=1 - strength * (0.034 * corner + 0.002),
            direction=np.tile([1.0, 0.0], (len(faces), 1)),
        ),
        steps=17,
        converged=True,
    )


def rim() -> FloatArray:
    """(k, 2) the rim of `flat`, counter-clockwise, corners at known places."""
    return flat().points_mm[region().loops[0].vertices]


@cache
def region() -> Region:
    columns, rows = 61, 37
    grid = np.arange(columns * rows).reshape(rows, columns)
    sides = [grid[0, :-1], grid[:-1, -1], grid[-1, :0:-1], grid[:0:-1, 0]]
    vertices = np.concatenate(sides)
    edge_of = np.concatenate([np.full(len(side), i) for i, side in enumerate(sides)])
    mesh = flat().mesh
    edges = tuple(
        Edge(kind=kind, points_mm=mesh.vertices_mm[side[:1]], name=name)
        for kind, name, side in zip(
            EdgeKind, ("front", "left", "rear", "right"), sides, strict=True
        )
    )
    return Region(mesh=mesh, loops=(Loop(vertices=vertices, edge_of=edge_of, edges=edges),))


def rounded(width: float, height: float, radius: float) -> Curve:
    """A rectangle with round corners, as lines and arcs."""
    w, h, r = width, height, radius
    points = [(r, 0), (w - r, 0), (w, r), (w, h - r), (w - r, h), (r, h), (0, h - r), (0, r)]
    corner = np.tan(np.pi / 8)
    return Curve(points_mm=np.array(points, float), bulges=np.array([0, corner] * 4))


def disc(x: float, y: float, radius: float) -> Curve:
    """A clockwise circle of two arcs."""
    return Curve(
        points_mm=np.array([(x - radius, y), (x + radius, y)]), bulges=np.array([-1.0, -1.0])
    )


def hood(name: str = "hood") -> Pattern:
    """The pattern of `flat`: stopped short in front, wrapped at the rear."""
    line = rim()
    records = [
        ("front", EdgeKind.OPEN, EdgeFinish(Finish.SHORT, 1.5), 912.4, 903.1),
        ("left", EdgeKind.GAP, EdgeFinish(Finish.WRAP, 8.0), 526.0, 520.0),
        ("rear", EdgeKind.TRIM, EdgeFinish(Finish.SHORT, 2.0), 905.0, 911.7),
        ("right", EdgeKind.INNER, EdgeFinish(Finish.FLUSH), 526.0, 520.0),
    ]
    return Pattern(
        name=name,
        outline=Curve(points_mm=line, bulges=np.zeros(len(line))),
        cut_outs=(disc(450, 120, 32.0),),
        edges=tuple(
            EdgeRecord(
                name=edge,
                kind=kind,
                finish=finish,
                surface_length_mm=on_car,
                flat_length_mm=on_flat,
            )
            for edge, kind, finish, on_car, on_flat in records
        ),
        deviation_mm=0.05,
    )


KEEP_OUTS = (
    KeepOut(kind=KeepOutKind.EMBLEM, points_mm=np.eye(3), name="maker's emblem", clearance_mm=1.5),
    KeepOut(kind=KeepOutKind.JET, points_mm=np.eye(3), name="washer jet, left"),
)

NAMES = (
    "hood",
    "fender, left",
    "fender, right",
    "mirror cap, left",
    "mirror cap, right",
    "loading sill",
    "sliding door, lower part up to the drawn line behind the second handle",
    "lamp cover, left",
)


@cache
def layout(count: int = 8, *, hostile: bool = False) -> Layout:
    """Some pieces on a roll of 1524 mm, in rows; sections of about 1.5 m."""
    generator = np.random.default_rng(7)
    gap, margin, width = 5.0, 20.0, 1524.0
    placements: list[Placement] = []
    sections: list[Section] = []
    start, x, y, deepest, area = 0.0, margin, margin, 0.0, 0.0
    for number in range(1, count + 1):
        if number == 1:
            pattern = hood()
            size = (916.0, 580.0)
        else:
            size = tuple(generator.uniform(60, 620, 2)) if number % 5 else (48.0, 40.0)
            holes = (disc(size[0] / 2, size[1] / 2, 18.0),) if min(size) > 150 else ()
            name = NAMES[(number - 1) % len(NAMES)]
            pattern = Pattern(
                name=HOSTILE if hostile else name,
                outline=rounded(*size, min(size) / 4),
                cut_outs=holes,
            )
        if y + size[1] > width - margin:
            x, y, deepest = deepest + gap, margin, deepest
        if x - start > 1500:
            sections.append(Section(start_mm=start, end_mm=deepest + margin))
            start, x, y = deepest + margin, deepest + 2 * margin, margin
        placements.append(
            Placement(
                pattern=pattern,
                number=number,
                copy=1,
                section=len(sections),
                turn_deg=0.0,
                x_mm=x,
                y_mm=y,
            )
        )
        area += size[0] * size[1] * 0.95
        y += size[1] + gap
        deepest = max(deepest, x + size[0])
    sections.append(Section(start_mm=start, end_mm=deepest + margin))
    return Layout(
        stock=Stock(width_mm=width, edge_margin_mm=margin),
        gap_mm=gap,
        placements=tuple(placements),
        sections=tuple(sections),
        length_mm=sections[-1].end_mm,
        piece_area_mm2=area,
        lower_bound_mm=area / (width - 2 * margin),
        seed=3,
        seconds=5.0,
    )


def place_picture() -> Image.Image:
    """Stands in for the picture of a panel on its car."""
    shade = np.linspace(120, 250, 300)[:, None] * np.ones((1, 480))
    return Image.fromarray(np.repeat(shade[..., None], 3, axis=2).astype(np.uint8))


HOSTILE = '*bold* #import "x" $x^2$ <label> @ref \\ `raw` // note & "quoted"'
EMOJI = "van 🚐 no. 7"
RIGHT_TO_LEFT = "דלת שמאל"
OVERRIDE = "abc\u202egpj.exe"
ENDLESS = "W" * 300


def head(**changes: object) -> Head:
    values: dict[str, object] = {
        "workshop": "Kesselhof Film & Finish",
        "job": "Delivery van, nose and door",
        "number": "2031-114",
        "vehicle": "Marrow Tern van, white",
        "customer": "Bakery at the lock",
        "dated": DAY,
    }
    return Head(**{**values, **changes})  # type: ignore[arg-type]


def fit_sheet(**changes: object) -> FitSheet:
    values: dict[str, object] = {
        "head": head(),
        "piece": "hood",
        "flat": flat(),
        "pattern": hood(),
        "region": region(),
        "place": place_picture(),
        "free": KEEP_OUTS,
        "laying": (
            "Anchor in the middle of the front edge; tack there, slip everywhere else.",
            "Pull to the rear, two people, then out to both sides.",
            "Wrap the left edge when the flat has set.",
        ),
        "warnings": ("Two holes smaller than 4 mm in the scan were closed.",),
    }
    return FitSheet(**{**values, **changes})  # type: ignore[arg-type]


def weeding_sheet(count: int = 8, **changes: object) -> WeedingSheet:
    values: dict[str, object] = {
        "head": head(),
        "layout": layout(count),
        "film": FILM.name,
        "lot": "K-7731",
        "warnings": ("The layout's search ended by its time budget of 5 s.",),
    }
    return WeedingSheet(**{**values, **changes})  # type: ignore[arg-type]


def sheet_of_laying(count: int = 8, **changes: object) -> LayingSheet:
    advice = ("Anchor at the upper edge, pull down.", "Leave the washer jet free.")
    pieces = tuple(
        LayingPiece(
            number=item.number,
            name=item.pattern.name,
            pattern=item.pattern,
            effort=tuple(Effort)[item.number % 3],
            place=place_picture(),
            advice=advice[: item.number % 3],
        )
        for item in layout(count).placements
    )
    values: dict[str, object] = {"head": head(), "film": FILM.name, "pieces": pieces}
    return LayingSheet(**{**values, **changes})  # type: ignore[arg-type]


def sheet_of_price(**changes: object) -> PriceSheet:
    rows = [("Film, whole sections", "7.35 m", "42.50 per m", "312.38")]
    rows += [
        (text, minutes, "72.00 per h", amount)
        for text, minutes, amount in (
            ("Intake: walking round the car, agreeing, pictures", "30 min", "36.00"),
            ("Washing, iron and tar removal, drying", "120 min", "144.00"),
            ("Cutting", "22 min", "26.40"),
            ("Weeding", "31 min", "37.20"),
            ("Laying", "485 min", "582.00"),
            ("Inspection by a second person", "34 min", "40.80"),
        )
    ]
    values: dict[str, object] = {
        "head": head(),
        "currency": "EUR",
        "rows": tuple(
            PriceRow(
                text=text,
                quantity=quantity,
                rate=rate,
                amount=Decimal(amount),
                assumed=text == "Laying",
            )
            for text, quantity, rate, amount in rows
        ),
        "net": Decimal("1178.78"),
        "tax": Decimal("235.76"),
        "gross": Decimal("1414.54"),
        "tax_rate": Decimal("0.2"),
        "covered": (
            ("Hood", "whole; stopped 1.5 mm short in front, wrapped 8 mm at the left edge"),
            ("Mirror caps", "whole, both sides"),
            ("Sliding door", "up to the line drawn 40 mm below the window"),
        ),
        "free": (("Hood", "maker's emblem"), ("Bumper", "parking sensors, front; towing eye")),
        "notes": ("Each line is rounded once, half a coin upwards.",),
    }
    return PriceSheet(**{**values, **changes})  # type: ignore[arg-type]


def offered_cover(title: str = "Nose and doors", panels: int = 7) -> OfferedCover:
    """An alternative whose sums are right: 1178.78 + 235.76 = 1414.54."""
    named = ("Hood", "Fender, left", "Fender, right", "Mirror cap, left", "Mirror cap, right")
    names = [*named, *(f"Door {number}" for number in range(1, 20))][:panels]
    edges = "The whole panel. Wrapped round the edge by 8 mm: front. Ends 1.5 mm before the edge: "
    picture = io.BytesIO()
    Image.linear_gradient("L").resize((960, 600)).convert("RGB").save(picture, "PNG")
    return OfferedCover(
        title=title,
        picture=picture.getvalue(),
        covered=tuple((name, f"{edges}left, rear, right.") for name in names),
        free=(("Hood", "Emblem: an emblem that stays on. Washer jet: a washer jet."),),
        over=(("Fender, left", "Emblem: the maker has no radar behind it."),),
        expect=(("Mirror cap, left", "Seen from the side, a slight haze may show."),),
        lines=(
            OfferLine(
                text="Film, cut to your vehicle",
                quantity="7.35 m",
                rate="42.50 a metre",
                amount="312.38",
            ),
            OfferLine(
                text="Work",
                quantity="12 h 2 min",
                rate="72.00 an hour",
                amount="866.40",
                parts=("Washing, 2 h", "Cutting, 22 min", "Laying, 8 h 5 min"),
            ),
        ),
        net="1178.78",
        tax="235.76",
        gross="1414.54",
        stay="about 3 working days",
    )


def sheet_of_offer(**changes: object) -> OfferSheet:
    """An offer of two alternatives."""
    values: dict[str, object] = {
        "head": head(),
        "version": 2,
        "sha256": "3f9c12ab" * 8,
        "hash_in_short": "3f9c 12ab 3f9c",
        "contact": "555 0100",
        "message": "The doors can wait for a second visit; the price of each is its own.",
        "currency": "EUR",
        "tax_name": "Tax, 20 %",
        "valid_until": "2031-06-05",
        "covers": (offered_cover("Nose only", 3), offered_cover()),
        "acknowledged": ("Fault 1, Repaint, front bumper: acknowledged by P. Oake, 2031-05-05.",),
        "cautions": ("A place that is left free for a sensor stays unprotected.",),
        "notes": ("Each line is rounded once, half a coin upwards.",),
    }
    return OfferSheet(**{**values, **changes})  # type: ignore[arg-type]


def a_photo() -> bytes:
    """A small photograph as it is kept."""
    out = io.BytesIO()
    Image.new("RGB", (90, 60), "#556677").save(out, "JPEG")
    return out.getvalue()


def sheet_of_passport(**changes: object) -> PassportSheet:
    """A passport with a bit of everything."""
    address = "https://yard.example/for-you/passport/abc/"
    values: dict[str, object] = {
        "head": head(),
        "version": 1,
        "because": "Made when the vehicle was handed back.",
        "sha256": "3f9c12ab" * 8,
        "hash_in_short": "3f9c 12ab 3f9c",
        "contact": "555 0100",
        "facts": (("Inspected", "2031-05-06 11:02 by Odile, who laid none of it"),),
        "covered": (("Hood", "The whole panel."),),
        "free": (("Hood", "Emblem: emblem, may stand over radar."),),
        "over": (),
        "expect": (),
        "pieces": (
            PassportPiece(
                number="1",
                title="Hood",
                film="Clear 150, lot LW-7731, roll R7",
                pattern="3f9c 12ab 3f9c",
                laid=("Ines, 2031-05-05 10:40", "pressed down by Ines, 2031-05-06 09:10"),
                checked=("Odile, 2031-05-06 11:02",),
            ),
        ),
        "flags": (
            PassportFlag(
                number="1",
                what="Hood (piece 1): lifted edge, 3 mm",
                found="Odile, 2031-05-06 10:20: press down",
                mended="Ines, 2031-05-06 10:40: pressed down",
                ended="Odile, 2031-05-06 11:00: gone",
            ),
        ),
        "history": ("1 Hood, film from lot LW-7731, roll R7: dirt under film.",),
        "steps": (("Iron removal", "done by Ines, 2031-05-04 14:10"),),
        "acknowledged": ("Fault 1, Repaint, hood: acknowledged by P. Oake, 2031-05-01.",),
        "visits": (),
        "pictures": ((a_photo(), "From the front"), (a_photo(), "")),
        "care": CARE,
        "cautions": PASSPORT,
        "proof": "The hash shows that nothing was changed.",
        "address": address,
        "qr": qr_svg(address),
    }
    return PassportSheet(**{**values, **changes})  # type: ignore[arg-type]


def sheet_of_care(**changes: object) -> CareSheet:
    """A care sheet."""
    values: dict[str, object] = {
        "head": head(),
        "covered": ("Hood", "Fender, left"),
        "care": CARE,
        "cautions": PASSPORT,
        "contact": "555 0100",
        "visit": "2031-05-18, at the workshop.",
    }
    return CareSheet(**{**values, **changes})  # type: ignore[arg-type]
