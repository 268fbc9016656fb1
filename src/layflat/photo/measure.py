"""From photographs of a frame to the picture of its plane, with how far it can be trusted."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, Progress, frozen, part_of, silent
from layflat.photo.ground import Ground, laid_out
from layflat.photo.join import join
from layflat.photo.load import Photo
from layflat.photo.markers import SeenSheet, find_markers, find_sheets, steadied
from layflat.photo.readings import Reading, Scale, Span, aspect_of, scale_of
from layflat.photo.records import Frame, Mask, PhotoError, Plane
from layflat.photo.refuse import (
    LEAST_SHEETS,
    MOST_PHOTOS,
    require_clear,
    require_fit,
    require_round,
    require_sheets,
    require_sure,
    require_upright,
    tilt_deg,
)
from layflat.photo.saddle import SPREAD_MM, Saddles, fit_saddles
from layflat.photo.sheet import MARKERS, printed_frame
from layflat.photo.sheets_checked import without_bad_sheets
from layflat.photo.solve import solve
from layflat.photo.solved import Sighting, Solved
from layflat.photo.view import View, views_of

_FEW = 0.6
"""With fewer than this part of the sheets' markers the search is repeated, more thoroughly."""
_MOST_FOUND = 0.95
_LEAST_CORNERS = 6
"""A sheet that shows fewer is left out of its picture."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Measured:
    """What photographs of a frame tell.

    Attributes:
        plane: the table's picture, true to scale.
        ground: the solution that it rests on.
        scale: what rulers say.
        reprojection_px: root mean square distance of seen corners from where they should be.
        repeat_mm: root mean square distance of a place in a picture's own solution from the
            common one's, over all pictures; None for one picture.
        tilts_deg: (p,) float64: each picture's tilt.
        sheets: the numbers of the sheets that were used.
        views: each picture by itself; `trace` compares them.
        notes: what a person should know.
    """

    plane: Plane
    ground: Ground
    scale: Scale
    reprojection_px: float
    repeat_mm: float | None
    tilts_deg: FloatArray
    sheets: tuple[int, ...]
    views: tuple[View, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "tilts_deg", frozen(self.tilts_deg))


@dataclass(frozen=True, eq=False, kw_only=True)
class Looked:
    """One picture's corners, and how its light is."""

    sighting: Sighting
    spread_px: float
    noise: float


def measure(
    photos: Sequence[Photo],
    *,
    readings: Sequence[Reading] = (),
    spans: Sequence[Span] = (),
    frame: Frame | None = None,
    progress: Progress = silent,
) -> Measured:
    """The picture of the table's plane from one photograph or several that overlap.

    Args:
        photos: pictures of one frame that nobody moved.
        readings: of the printed rulers; without any the scale is the print's.
        spans: distances between sheets, by tape.
        frame: the sheets; all that can be printed without.
        progress: told now and then.

    Raises:
        PhotoError: a picture cannot be used; the message says which, why and what to do.
        StoppedError: *progress* stopped the work.
    """
    if not 1 <= len(photos) <= MOST_PHOTOS:
        raise PhotoError(
            f"{len(photos)} pictures were given; one to {MOST_PHOTOS} are measured together."
        )
    frame = frame or printed_frame()
    looked = []
    for number, photo in enumerate(photos):
        progress(f"finding the frame in {photo.name}", 0.5 * number / len(photos))
        looked.append(look(photo, frame))
    progress("bringing the pictures together", 0.5)
    sightings = [each.sighting for each in looked]
    solved, notes = without_bad_sheets(sightings, aspect=aspect_of(readings))
    alone = _each_alone(solved)
    require_fit(solved, [each.reprojection_px() if each else 0.0 for each in alone])
    require_round(solved)
    require_upright(solved)
    scale = scale_of(solved, readings, spans)
    ground = laid_out(solved, scale=scale.scale)
    plane = join(
        ground,
        photos,
        frame,
        scale_doubt=scale.doubt,
        spread_px=np.array([each.spread_px for each in looked]),
        noise=float(np.median([each.noise for each in looked])),
        progress=part_of(progress, start=0.6, end=1.0),
    )
    require_sure(float(np.median(plane.doubt_mm)))
    progress("done", 1.0)
    return Measured(
        plane=plane,
        ground=ground,
        scale=scale,
        reprojection_px=solved.reprojection_px(),
        repeat_mm=_repeat_mm(ground, alone),
        tilts_deg=np.array([tilt_deg(pose) for pose in solved.poses]),
        sheets=solved.sheets,
        views=views_of(
            ground,
            [photo.light for photo in photos],
            spread_px=[each.spread_px for each in looked],
            noise=[each.noise for each in looked],
        ),
        notes=(*(note for photo in photos for note in photo.notes), *notes, *scale.notes),
    )


def look(photo: Photo, frame: Frame) -> Looked:
    """The corners of the frame's sheets in one picture.

    Raises:
        PhotoError: the picture cannot be used.
    """
    markers = find_markers(photo.grey, thorough=False)
    sheets = find_sheets(frame, markers)
    if len(sheets) < LEAST_SHEETS or len(markers) < _FEW * MARKERS * len(sheets):
        markers = find_markers(photo.grey, thorough=True)
        sheets = find_sheets(frame, markers)
    require_sheets(photo, frame, sheets, len(markers))
    saddles, near = _corners(photo, sheets)
    slopes = np.concatenate([seen.slopes for seen in sheets])
    scale_px = float(np.median(np.sqrt(np.abs(np.linalg.det(slopes)))))
    require_clear(photo, saddles, scale_px)
    keep = near & _like_the_others(saddles)
    numbers = np.concatenate([
        np.full(len(seen.corners_px), seen.sheet.number) for seen in sheets
    ])  # fmt: skip
    corners = np.concatenate([np.arange(len(seen.corners_px)) for seen in sheets])
    board = np.concatenate([seen.sheet.corners_mm for seen in sheets])
    for number in np.unique(numbers):
        if np.count_nonzero(keep & (numbers == number)) < _LEAST_CORNERS:
            keep = keep & (numbers != number)
    width, height = photo.size
    sighting = Sighting(
        name=photo.name,
        camera=photo.camera,
        width_px=width,
        height_px=height,
        focal_px=photo.focal_px,
        sheet=numbers[keep],
        corner=corners[keep],
        board_mm=board[keep],
        pixels=saddles.pixels[keep],
        sigma_px=saddles.sigma_px[keep],
    )
    if len(np.unique(sighting.sheet)) < 2:
        raise PhotoError(
            f"{photo.name} shows fewer than two sheets clearly; let nothing lie on the sheets, "
            "light them evenly, and take it again."
        )
    return Looked(
        sighting=sighting,
        spread_px=float(np.median(saddles.spread_px[keep])),
        noise=float(np.median(saddles.noise[keep])),
    )


def _corners(photo: Photo, sheets: Sequence[SeenSheet]) -> tuple[Saddles, Mask]:
    """The sheets' corners, and which lie where the others of their sheet have them.

    They are sought a second time, from where the first search has the sheets, where that had
    some of them wrong, or where the picture is less sharp than was reckoned with.
    """
    starts = np.cumsum([0, *(len(seen.corners_px) for seen in sheets)])
    spread = SPREAD_MM
    for repeated in (False, True):
        saddles = fit_saddles(
            photo.light,
            np.concatenate([seen.corners_px for seen in sheets]),
            np.concatenate([seen.slopes for seen in sheets]),
            spread_mm=spread,
        )
        steady = [
            steadied(seen, saddles.pixels[start:end], saddles.good[start:end])
            for seen, start, end in zip(sheets, starts[:-1], starts[1:], strict=True)
        ]
        near = np.concatenate([mask for _, mask in steady])
        if repeated or not near.any():
            break
        sheets = [seen for seen, _ in steady]
        scale = np.sqrt(np.abs(np.linalg.det(np.concatenate([seen.slopes for seen in sheets]))))
        spread = max(float(np.median(saddles.spread_px[near] / scale[near])), SPREAD_MM)
        if spread <= SPREAD_MM and near.mean() > _MOST_FOUND:
            break
    return saddles, near


def _like_the_others(saddles: Saddles) -> Mask:
    """(n,) bool: corners that are no fingers, tapes or glare: as clear as most are."""
    good = saddles.good
    noise = saddles.noise / np.maximum(saddles.contrast, 1e-9)
    usual = float(np.median(noise[good]))
    spread = float(np.median(saddles.spread_px[good]))
    keep = good & (noise < 4.0 * usual + 0.02)
    return keep & (saddles.spread_px < 3.0 * spread)


def _each_alone(solved: Solved) -> list[Solved | None]:
    """Each picture's own solution, where it shows enough sheets; nothing for one picture."""
    if len(solved.sightings) < 2:
        return []
    alone: list[Solved | None] = []
    for number, sighting in enumerate(solved.sightings):
        if len(np.unique(sighting.sheet)) < LEAST_SHEETS:
            alone.append(None)
            continue
        lens = solved.lenses[int(solved.lens_of[number])]
        alone.append(solve([sighting], focal_px=lens.focal_px))
    return alone


def _repeat_mm(ground: Ground, alone: Sequence[Solved | None]) -> float | None:
    """How far apart the pictures' own solutions lie, over the places that each shows."""
    low, high = ground.hull_mm.min(axis=0), ground.hull_mm.max(axis=0)
    x, y = np.meshgrid(*(np.linspace(low[i], high[i], 9)[1:-1] for i in (0, 1)))
    places = np.column_stack((x.ravel(), y.ravel()))
    squares = []
    for picture, own in enumerate(alone):
        if own is None:
            continue
        seen = places[ground.detail(picture, places) > 0.0]
        if len(seen) < 4:
            continue
        itself = Ground(
            solved=own, scale=ground.scale, turn_rad=0.0, shift_mm=np.zeros(2), hull_mm=seen
        )
        found = itself.from_picture(0, ground.to_picture(picture, seen))
        squares.append(np.sum((rigid(found, seen) - seen) ** 2, axis=1))
    return float(np.sqrt(np.mean(np.concatenate(squares)))) if squares else None


def rigid(points: FloatArray, target: FloatArray) -> FloatArray:
    """(n, 2) float64: *points* turned and moved, not scaled, to come nearest to *target*."""
    a, b = points - points.mean(axis=0), target - target.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    moved: FloatArray = a @ left @ right + target.mean(axis=0)
    return moved
