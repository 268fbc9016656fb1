"""Relief cuts: where a piece fingers or stretches too much, cuts from its edge inward are proposed.

As few, short and hidden as possible, one after the other, each with what it gains; see “Reliefs” in
docs/theory-fit.md. The person accepts, moves or refuses them: accepted ones come back as *kept*,
refused ones as *refused*, and are not proposed again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import (
    FloatArray,
    Progress,
    SettingError,
    frozen,
    part_of,
    silent,
)
from layflat.film import Flat
from layflat.fit.asked import AVERSION, require_asked
from layflat.fit.fingers import Fingers, find_fingers
from layflat.fit.judged import Judged, judge
from layflat.fit.relief_cut import cut_relief, flatten_again
from layflat.fit.relief_mirror import Mirror, find_mirror
from layflat.fit.relief_paths import APART_MM, Candidate, Ways, drawn
from layflat.fit.relief_score import beyond_limits_mm2, cut_paths, tried_mm2, worth_showing
from layflat.fit.relief_words import (
    PAIR_TOO_MANY,
    hidden_by,
    left_over,
    reasons_of,
    visible_length_mm,
)
from layflat.fit.seen import Sight, creases, visibility
from layflat.pattern import opening_mm, relief_name, reliefs_of
from layflat.surface import Mesh, Prepared, Region

LEAST_GAIN = 0.05
"""A cut that takes away less than this part of what the piece is beyond its limits is not worth it.
Common practice, no source."""

EACH_MM = 25.0
"""Each further cut is as dear as so much more of a hidden one, so that few are better than many."""

_STRAIGHT = 0.1
_TRIED = 8


@dataclass(frozen=True, eq=False)
class Relief:
    """One proposed relief.

    Attributes:
        path_mm: (k, 3) float64, from the edge to the tip, as `Cover.reliefs` takes it.
        length_mm: its length on the surface.
        flat_length_mm: the mean length of its sides in the flat.
        hidden_by: "trim", "gap", "crease", "wrap" or "open paint".
        visible_mm: the length of it that is seen.
        opens_mm: the greatest width of its wedge in the flat, with all proposals made.
        before, after: the piece without this cut and with it (and those before it).
        reasons: sentences on why it is there and what it gains.
    """

    path_mm: FloatArray
    length_mm: float
    flat_length_mm: float
    hidden_by: str
    visible_mm: float
    opens_mm: float
    before: Judged
    after: Judged
    reasons: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "path_mm", frozen(self.path_mm).reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class Reliefs:
    """The reliefs that are proposed for one piece.

    Attributes:
        proposals: in the order in which they were found, the worst place first.
        kept: how many that were kept came before them.
        region, flat: the piece with all of them, kept and proposed.
        before: the piece with those kept alone.
        after: with all.
        sentences: what is left, and why no more are proposed.
    """

    proposals: tuple[Relief, ...]
    kept: int
    region: Region
    flat: Flat
    before: Judged
    after: Judged
    sentences: tuple[str, ...]


def propose_reliefs(
    region: Region,
    flat: Flat,
    *,
    sight: Sight | None = None,
    aversion: float = AVERSION,
    kept: Sequence[FloatArray] = (),
    refused: Sequence[FloatArray] = (),
    most: int = 6,
    up: tuple[float, float, float] = (0.0, 0.0, 1.0),
    forward: tuple[float, float, float] = (1.0, 0.0, 0.0),
    body: Mesh | Prepared | None = None,
    progress: Progress = silent,
) -> Reliefs:
    """The reliefs that help *region* most, each for as little of what is seen as can be.

    Args:
        region: the panel, without the kept reliefs.
        flat: its flat shape.
        sight: how well places are seen.
        aversion: how much dearer a cut in full sight is than a hidden one, 1 or more.
        kept: paths of reliefs that stay as they are, each (k, 3) float64.
        refused: paths that were refused: none is proposed that starts near one.
        most: no more reliefs than this, kept ones counted.
        up, forward: unit vectors of the body.
        body: the whole body; its lowest point is the ground.
        progress: told each step; may raise to stop.

    Raises:
        SettingError: *aversion* or *most* is out of range.
        InputError: *flat* is not of *region*.
        MeshError: a kept relief cannot be cut.
    """
    if most < 0:
        raise SettingError(f"The most reliefs are {most}; the number must not be negative.")
    require_asked(region, flat, aversion, what="cuts")
    progress("looking for fingers", 0.0)
    for path in kept:
        region = cut_relief(region, path)
    if kept:
        flat = flatten_again(region, flat)
    search = _Search(
        sight=Sight() if sight is None else sight,
        aversion=aversion,
        refused=tuple(np.asarray(path, np.float64).reshape(-1, 3) for path in refused),
        up=up,
        forward=forward,
        body=body,
        mirror=find_mirror(region, up=up, forward=forward),
    )
    return search.run(region, flat, kept=len(kept), most=most, progress=progress)


@dataclass(frozen=True, eq=False)
class _Search:
    """The search for reliefs on one panel."""

    sight: Sight
    aversion: float
    refused: tuple[FloatArray, ...]
    up: tuple[float, float, float]
    forward: tuple[float, float, float]
    body: Mesh | Prepared | None
    mirror: Mirror | None

    def run(
        self, region: Region, flat: Flat, *, kept: int, most: int, progress: Progress
    ) -> Reliefs:
        """One relief, or a mirrored pair, after the other until no more is worth it."""
        fingers = find_fingers(flat)
        start = judge(flat, fingers=(fingers,))
        whole = beyond_limits_mm2(flat)
        judged, found, notes = start, list[Relief](), list[str]()
        while whole > 0.0 and kept + len(found) < most:
            part = part_of(
                progress, start=len(found) / max(most - kept, 1), end=1.0, prefix="relief: "
            )
            part(f"{len(found) + 1}", 0.0)
            room = most - kept - len(found)
            step = self._next(
                region, flat, fingers, room=room, notes=notes, least=LEAST_GAIN * whole
            )
            if step is None:
                break
            region, flat, paths = step
            fingers = find_fingers(flat)
            after = judge(flat, fingers=(fingers,))
            found += [self._relief(region, path, judged, after) for path in paths]
            judged = after
        progress("done", 1.0)
        found = [_opened(relief, region, flat, kept + i) for i, relief in enumerate(found)]
        words = left_over(judged, flat, len(found), kept=kept, most=most, notes=notes)
        return Reliefs(tuple(found), kept, region, flat, start, judged, words)

    def _next(
        self,
        region: Region,
        flat: Flat,
        fingers: Fingers,
        *,
        room: int,
        notes: list[str],
        least: float,
    ) -> tuple[Region, Flat, list[FloatArray]] | None:
        """The region with the best further relief, laid anew, and the paths; None without one."""
        seen = visibility(
            region, up=self.up, forward=self.forward, body=self.body, sight=self.sight
        )
        creased = creases(region.mesh)
        hidden = seen * (1.0 - creased)
        ways = Ways.of(region, flat, fingers, hidden, self.aversion)
        tries: list[Candidate] = []
        for zone in sorted(fingers.zones, key=lambda zone: -zone.excess_mm)[:4]:
            tries += [c for c in ways.candidates(zone) if self._allowed(region, c)]
        tries, shown = worth_showing(flat, tries, seen, creased)
        tries.sort(key=lambda c: -c.promise_mm / (c.cost_mm + EACH_MM))
        now = beyond_limits_mm2(flat)
        scored = []
        for candidate in tries[:_TRIED]:
            gain = now - tried_mm2(flat, candidate)
            if gain > 0.0:
                scored.append((gain / (candidate.cost_mm + EACH_MM), candidate))
        scored.sort(key=lambda item: -item[0])
        side = float(np.sqrt(np.median(region.mesh.face_areas_mm2)))
        for _, candidate in scored:
            off = max(0.75 * side, _STRAIGHT * candidate.length_mm)
            few = candidate.path[drawn(flat.points_mm[candidate.path], off_mm=off)]
            path = region.mesh.vertices_mm[few]
            paths = self._mirrored(path, room, notes)
            if not paths or not all(self._free(path) for path in paths):
                continue
            done = cut_paths(region, flat, paths, notes)
            if done is not None and now - beyond_limits_mm2(done[1]) >= least:
                return (*done, paths)
        notes += shown
        return None

    def _allowed(self, region: Region, candidate: Candidate) -> bool:
        """Whether a candidate starts away from all refused paths."""
        return self._free(region.mesh.vertices_mm[candidate.path])

    def _free(self, path: FloatArray) -> bool:
        return all(
            np.linalg.norm(old[0] - path[0]) > APART_MM
            and np.linalg.norm(old[-1] - path[-1]) > 0.5 * APART_MM
            for old in self.refused
        )

    def _mirrored(self, path: FloatArray, room: int, notes: list[str]) -> list[FloatArray]:
        """The path and its mirror image, or the path alone; nothing if the pair is too much."""
        if self.mirror is None:
            return [path]
        least, most = self.mirror.off_mm(path)
        if most < APART_MM:
            return [self.mirror.onto(path)]
        if least < 0.5 * APART_MM:
            # It would come too near to its own mirror image.
            return []
        other = self.mirror.image(path)
        if not self._free(other):
            notes.append(
                "The panel is symmetric, but the mirrored place of a relief was refused: that "
                "relief stands alone."
            )
            return [path]
        if room < 2:
            notes.append(PAIR_TOO_MANY)
            return []
        return [path, other]

    def _relief(self, region: Region, path: FloatArray, before: Judged, after: Judged) -> Relief:
        """What is to be said of a relief that has just been cut."""
        slit = min(
            reliefs_of(region),
            key=lambda s: float(np.linalg.norm(region.mesh.vertices_mm[s.inward[0]] - path[0])),
        )
        points = region.mesh.vertices_mm[slit.inward]
        # Its ends are where the cut really begins and ends: on the edge, and at its tip.
        path = np.concatenate((points[:1], path[1:-1], points[-1:]))
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        seen = visibility(
            region, up=self.up, forward=self.forward, body=self.body, sight=self.sight
        )[slit.inward]
        creased = creases(region.mesh)[slit.inward]
        visible = visible_length_mm(steps, seen, creased)
        edge = next(
            loop.edges[(i - 1) % len(loop.edges)]
            for loop in region.loops
            for i, item in enumerate(loop.edges)
            if item.name == slit.name
        )
        hidden = hidden_by(edge.kind, float(steps.sum()), visible, creased)
        return Relief(
            path_mm=path,
            length_mm=float(steps.sum()),
            flat_length_mm=0.0,
            hidden_by=hidden,
            visible_mm=visible,
            opens_mm=0.0,
            before=before,
            after=after,
            reasons=reasons_of(edge, hidden, float(steps.sum()), visible, before, after),
        )


def _opened(relief: Relief, region: Region, flat: Flat, index: int) -> Relief:
    """*relief* with the figures that the last flat shape decides."""
    slit = next(s for s in reliefs_of(region) if s.name == relief_name(index + 1))
    first, second = flat.points_mm[slit.inward], flat.points_mm[slit.outward[::-1]]
    both = [float(np.hypot(*np.diff(side, axis=0).T).sum()) for side in (first, second)]
    return replace(relief, flat_length_mm=0.5 * sum(both), opens_mm=opening_mm(first, second))
