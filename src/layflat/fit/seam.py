"""Seams: one piece against two, side by side, where one piece asks too much.

See “Seams” in docs/theory-fit.md. The person decides: a seam that is accepted comes back as *kept*
and is used exactly, refused ones as *refused*, and are not proposed again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray, MeshError, Progress, SettingError, frozen, silent
from layflat.film import Flat, flatten
from layflat.fit.asked import AVERSION, require_asked
from layflat.fit.relief_cut import flatten_again
from layflat.fit.relief_paths import drawn
from layflat.fit.relief_score import QUICK_STEPS, beyond_limits_mm2
from layflat.fit.relief_words import OPEN_SHARE
from layflat.fit.seam_cut import OVERLAP_MM, split_region, split_regions
from layflat.fit.seam_outcome import (
    Outcome,
    SeamRates,
    Seen,
    is_whole,
    outcome_of,
    seam_lines,
)
from layflat.fit.seam_paths import CLEAR_MM, SeamPath, from_openings_mm, seam_paths, smoothed
from layflat.fit.seen import Sight, creases, visibility
from layflat.surface import LEAST_WIDTH_MM, Mesh, Prepared, Region, compact, parted_by

LEAST_GAIN = 0.25
"""A seam that takes away less than this part of what the piece is beyond its limits is not worth
it. Common practice, no source."""

SEAM_WEIGHT = 0.3
"""A seam in full sight, as long as the side of a square of the panel's area, is as bad as this part
of what the one piece is beyond its limits. Common practice, no source."""

APART_MM = 40.0
"""Two seams whose ends are this near to each other are the same one."""

_OPTIONS = 3
_STRAIGHT = (0.05, 0.02)
_STEP = 5.0
_AS_PROMISED = 1.1
_SPREAD = 0.12
_OVER_LIMIT = 0.01


@dataclass(frozen=True, eq=False)
class Split:
    """One seam that is proposed, or the seams that were kept.

    Attributes:
        paths_mm: each (k, 3) float64, as `Cover.seams` takes them; a proposal has one.
        hidden_by: "crease", "out of sight" or "open paint".
        outcome: what the pieces come to.
        regions, flats: the pieces.
        reasons: sentences on where it lies and what it gains.
    """

    paths_mm: tuple[FloatArray, ...]
    hidden_by: str
    outcome: Outcome
    regions: tuple[Region, ...]
    flats: tuple[Flat, ...]
    reasons: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "paths_mm", tuple(frozen(path) for path in self.paths_mm))


@dataclass(frozen=True, eq=False)
class Seams:
    """One piece and what seams would make of it, side by side.

    Attributes:
        whole: one piece.
        needed: whether one piece asks too much.
        options: the seams that help, the best first; the one that was kept alone.
        sentences: whether a seam is needed, why, and what is left.
    """

    whole: Outcome
    needed: bool
    options: tuple[Split, ...]
    sentences: tuple[str, ...]


def propose_seams(
    region: Region,
    flat: Flat,
    *,
    sight: Sight | None = None,
    rates: SeamRates | None = None,
    roll_mm: float,
    aversion: float = AVERSION,
    kept: Sequence[FloatArray] = (),
    refused: Sequence[FloatArray] = (),
    even_if_not_needed: bool = False,
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    forward: tuple[float, float, float] = (1.0, 0.0, 0.0),
    body: Mesh | Prepared | None = None,
    progress: Progress = silent,
) -> Seams:
    """The seams that help most, where one piece is not reasonable.

    Args:
        region: the panel, without the kept seams.
        flat: its flat shape in one piece.
        sight: how well places are seen.
        rates: what film and minutes are worth, or None for the assumptions.
        roll_mm: the roll's width.
        aversion: how much dearer a seam in full sight is than a hidden one, 1 or more.
        kept: paths of seams that stay as they are; no others are sought then.
        refused: paths that were refused: none is proposed that ends near both of one's ends.
        even_if_not_needed: compare also where one piece will do, whatever it gains.
        up, forward: unit vectors of the body.
        body: the whole body; its lowest point is the ground.
        progress: told each step; may raise to stop.

    Raises:
        SettingError: *aversion* or *roll_mm* is out of range.
        InputError: *flat* is not of *region*.
        MeshError: a kept seam cannot be cut.
    """
    if not roll_mm > 0.0:
        raise SettingError(f"The roll is {roll_mm:g} mm wide; it must be more than 0.")
    require_asked(region, flat, aversion, what="seams")
    progress("judging one piece", 0.0)
    seen = Seen(
        region.mesh.vertices_mm,
        visibility(region, up=up, forward=forward, body=body, sight=sight),
        creases(region.mesh),
    )
    search = _Search(
        region=region,
        flat=flat,
        seen=seen,
        rates=rates or SeamRates(),
        roll_mm=roll_mm,
        aversion=aversion,
        axis=np.asarray(up) + np.asarray(forward),
    )
    whole = search.outcome((region,), (flat,))
    why = _why(whole, flat)
    if kept:
        return Seams(whole, bool(why), (search.kept(kept, whole),), (*why, _KEPT))
    if not why and not even_if_not_needed:
        return Seams(whole, False, (), (_one_will_do(whole, flat),))
    options = search.options(whole, refused, needed=bool(why), progress=progress)
    said = why or [_one_will_do(whole, flat)]
    if why and not options:
        said = [*why, _NONE]
    progress("done", 1.0)
    return Seams(whole, bool(why), tuple(options), tuple(said))


_KEPT = "The seam that was kept is used as it is; no others were sought."
_NONE = (
    "No seam was found that helps enough: raise the finger aversion, cut reliefs, or stop the "
    "film at a line."
)


def _why(whole: Outcome, flat: Flat) -> list[str]:
    """Sentences on why one piece is not reasonable; none where it is."""
    judged, found = whole.judged, list[str]()
    if not is_whole(flat):
        found.append("One piece would overlap itself in the flat.")
    if not whole.fits_roll:
        found.append("One piece is wider than the roll, however it is turned.")
    if judged.share_over_stretch_limit > _OVER_LIMIT:
        found.append(
            f"In one piece {100 * judged.share_over_stretch_limit:.0f} % of the film would be "
            f"stretched beyond its limit of {100 * flat.film.stretch_limit:g} %."
        )
    if judged.greatest_compression > flat.film.wrap_finger_limit:
        found.append(
            f"In one piece the film would be pressed by {100 * judged.greatest_compression:.1f} %, "
            f"more than it takes up warmed ({100 * flat.film.wrap_finger_limit:g} %)."
        )
    return found


def _one_will_do(whole: Outcome, flat: Flat) -> str:
    judged = whole.judged
    stretched = f"it is stretched by no more than {100 * (judged.greatest_stretch - 1):.1f} %"
    if judged.finger_zones:
        pressed = (
            f"fingers of up to {100 * judged.greatest_compression:.1f} % are within what warmed "
            f"film takes up ({100 * flat.film.wrap_finger_limit:g} %)"
        )
    else:
        pressed = "nothing fingers"
    return f"One piece will do: {stretched}, {pressed}, and it fits the roll."


@dataclass(frozen=True, eq=False, kw_only=True)
class _Search:
    """The search for seams on one panel."""

    region: Region
    flat: Flat
    seen: Seen
    rates: SeamRates
    roll_mm: float
    aversion: float
    axis: FloatArray

    def outcome(self, regions: Sequence[Region], flats: Sequence[Flat]) -> Outcome:
        """What pieces come to."""
        return outcome_of(regions, flats, seen=self.seen, rates=self.rates, roll_mm=self.roll_mm)

    def kept(self, paths: Sequence[FloatArray], whole: Outcome) -> Split:
        """The pieces along given seams."""
        regions = split_regions(self.region, paths)
        return self._split(tuple(np.asarray(path, np.float64) for path in paths), regions, whole)

    def options(
        self, whole: Outcome, refused: Sequence[FloatArray], *, needed: bool, progress: Progress
    ) -> list[Split]:
        """The best seams, laid in full."""
        hidden = self.seen.visibility * (1.0 - self.seen.crease)
        ways = seam_paths(self.region, self.flat, hidden, aversion=self.aversion)
        ways = [way for way in ways if not self._is_one_of(self._ends(way.path), refused)]
        ranked = []
        now = beyond_limits_mm2(self.flat)
        for i, way in enumerate(ways):
            progress(f"trying a seam, {i + 1} of {len(ways)}", 0.1 + 0.5 * i / len(ways))
            left = self._tried_mm2(way)
            if left is not None:
                ranked.append((self._burden(left, now, way), i, way, left))
        ranked.sort()
        found: list[tuple[float, Split]] = []
        taken: list[FloatArray] = []
        for number, (_, _, way, promised) in enumerate(ranked):
            if len(found) == _OPTIONS:
                break
            progress("laying both pieces", 0.6 + 0.4 * number / len(ranked))
            spread = max(APART_MM, _SPREAD * float(np.sqrt(self.region.mesh.area_mm2)))
            if self._is_one_of(self._ends(way.path), taken, near_mm=spread):
                continue
            split = self._made(way, whole, promised)
            if split is None:
                continue
            left = _left_mm2(split)
            helps = left <= (1.0 - LEAST_GAIN) * now
            cures = (is_whole(self.flat) and whole.fits_roll) or split.outcome.fits_roll
            if needed and not (cures and (helps or not whole.fits_roll)):
                continue
            taken.append(self._ends(way.path))
            found.append((self._burden(left, now, way), split))
        found.sort(key=lambda item: item[0])
        return [split for _, split in found]

    def _burden(self, left: float, now: float, way: SeamPath) -> float:
        """What is left beyond the limits, and the seam, as parts of what one piece is beyond."""
        size = self.aversion * float(np.sqrt(self.region.mesh.area_mm2))
        return left / max(now, 1e-9) + SEAM_WEIGHT * way.cost_mm / size

    def _ends(self, path: np.ndarray[tuple[int], np.dtype[np.int64]]) -> FloatArray:
        return np.asarray(self.region.mesh.vertices_mm[path[[0, -1]]])

    @staticmethod
    def _is_one_of(
        ends: FloatArray, others: Sequence[FloatArray], *, near_mm: float = APART_MM
    ) -> bool:
        for other in others:
            both = np.asarray(other, np.float64).reshape(-1, 3)[[0, -1]]
            for turned in (both, both[::-1]):
                if np.linalg.norm(turned - ends, axis=1).max() < near_mm:
                    return True
        return False

    def _tried_mm2(self, way: SeamPath) -> float | None:
        """How far two pieces are beyond their limits, nearly: along the mesh's edges."""
        mesh = self.region.mesh
        part = parted_by(mesh.faces, way.path)
        if int(part.max()) != 1:
            return None
        total = 0.0
        for side in (0, 1):
            if mesh.face_areas_mm2[part == side].sum() < LEAST_WIDTH_MM * way.length_mm:
                return None
            faces, used = compact(mesh.faces[part == side])
            try:
                laid = flatten(
                    Mesh(mesh.vertices_mm[used], faces),
                    self.flat.film,
                    finger_aversion=self.flat.finger_aversion,
                    max_steps=QUICK_STEPS,
                    start_mm=self.flat.points_mm[used],
                )
            except MeshError:
                # A search tries places at which a part may be no sheet; the next will do.
                return None
            total += beyond_limits_mm2(laid)
        return total

    def _made(self, way: SeamPath, whole: Outcome, promised: float) -> Split | None:
        """The two pieces along a path, laid; None where it cannot be cut so."""
        side = float(np.sqrt(np.median(self.region.mesh.face_areas_mm2)))
        # A seam is drawn as one clean line as far as that does not cost what it gains; only where
        # a crease hides it does it follow that closely.
        creased = float(self.seen.crease[way.path].mean()) > 0.5
        points = self.region.mesh.vertices_mm[way.path]
        if creased:
            tries = [self._drawn(way, 0.1 * side)]
        else:
            tries = [self._drawn(way, max(share * way.length_mm, side)) for share in _STRAIGHT]
            tries += [smoothed(points, step_mm=_STEP * side), self._drawn(way, 0.75 * side)]
        made = None
        for number, path in enumerate(tries):
            if made is None or number < len(tries) - 1:
                made = self._cut(path, whole) or made
            if made is not None and _left_mm2(made) <= _AS_PROMISED * promised:
                break
        return made

    def _drawn(self, way: SeamPath, off_mm: float) -> FloatArray:
        few = way.path[drawn(self.flat.points_mm[way.path], off_mm=off_mm)]
        return np.asarray(self.region.mesh.vertices_mm[few])

    def _cut(self, path: FloatArray, whole: Outcome) -> Split | None:
        """The two pieces along a path, laid; None where it cannot be cut."""
        try:
            regions = split_region(self.region, path)
            lines = [line for _, line in seam_lines(regions[1])]
            if from_openings_mm(self.region, np.concatenate(lines)).min() < 0.5 * CLEAR_MM:
                return None
            middles = [part.mesh.vertices_mm.mean(axis=0) for part in regions]
            if (middles[0] - middles[1]) @ self.axis < 0.0:
                # The piece in front, or above, lies on top: its edge faces away from the wind.
                path = path[::-1]
                regions = split_region(self.region, path)
            split = self._split((path,), regions, whole)
        except MeshError:
            # Straightened, a path may touch an edge; the next will do.
            return None
        return split if all(is_whole(flat) for flat in split.flats) else None

    def _split(
        self, paths: tuple[FloatArray, ...], regions: tuple[Region, ...], whole: Outcome
    ) -> Split:
        flats = tuple(flatten_again(part, self.flat) for part in regions)
        outcome = self.outcome(regions, flats)
        hidden = self._hidden_by(regions, outcome)
        return Split(paths, hidden, outcome, regions, flats, _reasons(whole, outcome, hidden))

    def _hidden_by(self, regions: tuple[Region, ...], outcome: Outcome) -> str:
        if outcome.visible_seam_mm > OPEN_SHARE * outcome.seam_mm:
            return "open paint"
        points = np.concatenate([line for part in regions for _, line in seam_lines(part)])
        creased = self.seen.crease[KDTree(self.seen.points_mm).query(points)[1]]
        return "crease" if creased.mean() > 0.5 else "out of sight"


def _left_mm2(split: Split) -> float:
    return float(sum(beyond_limits_mm2(flat) for flat in split.flats))


def _reasons(whole: Outcome, two: Outcome, hidden: str) -> tuple[str, ...]:
    place = {
        "crease": "It follows a crease, where it shows little",
        "out of sight": "It runs where it is hardly seen",
        "open paint": "It crosses open paint and shows close up",
    }[hidden]
    before, after = whole.judged, two.judged
    lies = (
        f"{place}: {two.seam_mm:.0f} mm long, {two.visible_seam_mm:.0f} mm of it in sight. "
        f"The first piece lies {OVERLAP_MM:g} mm over the second."
    )
    gains = (
        f"Stretch falls from {100 * (before.greatest_stretch - 1):.1f} % to "
        f"{100 * (after.greatest_stretch - 1):.1f} %, film too much from "
        f"{before.finger_excess_mm:.1f} mm to {after.finger_excess_mm:.1f} mm; "
        f"{_more(two.film_mm2 - whole.film_mm2)}, {two.minutes - whole.minutes:+.0f} minutes."
    )
    return (lies, gains)


def _more(film_mm2: float) -> str:
    word = "more" if film_mm2 >= 0.0 else "less"
    return f"{abs(film_mm2) / 1e6:.2f} m² {word} film"
