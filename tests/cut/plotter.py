"""A plotter that strays, simulated: told text in, cuts on film out, and what a person would read.

The text goes through the independent reader and the simulation of the blade's tip; the matrix, the
true knife offset and the way that the blade needs to get through the film are this plotter's own.
"""

import dataclasses

import numpy as np

from layflat.cut import CalibrationSheet, Stroke, read_hpgl, simulate


@dataclasses.dataclass(frozen=True)
class Plotter:
    """What is wrong with it.

    Attributes:
        feed: (2, 2), what told places become on the film.
        offset_mm: the blade's true knife offset.
        plunge_mm: the way until the lowered blade is through the film.
        heading_rad: the blade's heading at first.
    """

    feed: np.ndarray = dataclasses.field(default_factory=lambda: np.eye(2))
    offset_mm: float = 0.25
    plunge_mm: float = 0.0
    heading_rad: float = 2.0

    def cuts(self, text: str) -> tuple[np.ndarray, ...]:
        """The tip's paths on the film, one a lowering of the knife."""
        on_film = [
            Stroke(down=stroke.down, points_mm=stroke.points_mm @ self.feed.T)
            for stroke in read_hpgl(text)
        ]
        return simulate(
            on_film, knife_offset_mm=self.offset_mm, heading_rad=self.heading_rad, step_mm=0.02
        ).cuts


@dataclasses.dataclass(frozen=True)
class Slipping:
    """A plotter under whose head the film slips, walked step by step.

    Attributes:
        rate: (2,) shift of what is cut, for 1 mm of progress.
        by: "fed" (off the roll for the first time) or "travelled" (every way to and fro).
        jerk_at, jerk: from which progress on the film has slipped by how much at once.
        offset_mm: the blade's knife offset.
    """

    rate: tuple[float, float]
    by: str = "fed"
    jerk_at: float = np.inf
    jerk: tuple[float, float] = (0.0, 0.0)
    offset_mm: float = 0.25

    def cuts(self, text: str) -> tuple[np.ndarray, ...]:
        """The tip's paths on the film, one a lowering of the knife."""
        here, fed, travelled = np.zeros(2), 0.0, 0.0
        on_film = []
        for stroke in read_hpgl(text):
            way = []
            for end in stroke.points_mm:
                count = max(1, int(np.ceil(np.hypot(*(end - here)) / 1.0)))
                for place in here + np.linspace(0, 1, count + 1)[1:, None] * (end - here):
                    travelled += abs(place[0] - here[0])
                    fed = max(fed, place[0])
                    here = place
                    progress = fed if self.by == "fed" else travelled
                    slip = progress * np.array(self.rate)
                    way.append(place + slip + (progress >= self.jerk_at) * np.array(self.jerk))
            on_film.append(Stroke(down=stroke.down, points_mm=np.array(way)))
        return simulate(on_film, knife_offset_mm=self.offset_mm, heading_rad=0.1).cuts


def crossing(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Where the straight middles of two cuts would cross."""
    lines = []
    for cut in (first, second):
        settled = cut[int(0.35 * len(cut)) : int(0.75 * len(cut))]
        middle = settled.mean(axis=0)
        lines.append((middle, np.linalg.svd(settled - middle)[2][0]))
    (p, u), (q, v) = lines
    along = np.linalg.solve(np.column_stack((u, -v)), q - p)
    return p + along[0] * u


def length_of(cut: np.ndarray) -> float:
    return float(np.hypot(*np.diff(cut, axis=0).T).sum())


def measured(sheet: CalibrationSheet, plotter: Plotter) -> dict[str, dict]:
    """What ruler and loupe would say of a sheet, exactly."""
    cuts = plotter.cuts(sheet.hpgl)
    groups: dict[tuple[str, str], list[np.ndarray]] = {}
    for cut, path in zip(sheet.cuts, cuts, strict=True):
        groups.setdefault((cut.group, cut.name), []).append(path)
    corner = {name: crossing(*groups["cross", name]) for name in "ABCD"}
    lengths = {
        f"{a}{b}_mm".lower(): float(np.hypot(*(corner[b] - corner[a])))
        for a, b in ("AB", "DC", "AD", "BC", "AC", "BD")
    }
    ring = groups["circle", ""][0]
    centre = 0.5 * (ring.max(axis=0) + ring.min(axis=0))
    for name, way in (
        ("along", (1, 0)),
        ("across", (0, 1)),
        ("rising", (1, 1)),
        ("falling", (-1, 1)),
    ):
        # The ruler lies where the sheet's direction has come to lie.
        u = plotter.feed @ np.array(way) / np.hypot(*(plotter.feed @ np.array(way)))
        off = (ring - centre) @ u
        side = np.abs((ring - centre) @ np.array([-u[1], u[0]]))
        lengths[f"{name}_mm"] = float(
            off[np.argmin(side + 1e3 * (off < 0))] - off[np.argmin(side + 1e3 * (off > 0))]
        )
    gaps = {
        float(name): float(pair[1][-1][0] - pair[0][-1][0])
        for (group, name), pair in groups.items()
        if group == "offset"
    }
    bridges = {
        float(name): max(0.0, plotter.plunge_mm - _beyond(loop[0]))
        for (group, name), loop in groups.items()
        if group == "overcut"
    }
    return {"lengths": lengths, "gaps": gaps, "bridges": bridges}


def _beyond(loop: np.ndarray) -> float:
    """How far a round cut runs on beyond its own start, measured on the film."""
    middle = 0.5 * (loop.max(axis=0) + loop.min(axis=0))
    turn = np.unwrap(np.arctan2(*(loop - middle).T[::-1]))
    radius = float(np.hypot(*(loop[-1] - middle)))
    return float((turn[-1] - turn[0] - 2 * np.pi) * radius)
