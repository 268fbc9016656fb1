"""Pictures that cannot be used, each with one sentence: what is wrong, and what to do."""

from collections.abc import Collection, Sequence
from typing import Final

import numpy as np

from layflat.base import FloatArray
from layflat.photo.lens import turn_matrix
from layflat.photo.load import Photo
from layflat.photo.markers import SeenSheet, mirrored
from layflat.photo.records import Frame, PhotoError
from layflat.photo.saddle import Saddles
from layflat.photo.solved import Solved

MOST_PHOTOS: Final = 12
MOST_TILT_DEG: Final = 42.0
LEAST_SHEETS: Final = 3
_LEAST_MARKER_PX: Final = 13.0
_MOST_SPREAD_PX: Final = 2.2
_MOST_SPREAD_MM: Final = 1.2
_LEAST_CONTRAST: Final = 0.02
_DARK: Final = 0.02
_CLIPPED: Final = 0.985
_MOST_NOISE: Final = 0.35
_BADLY_FITTED_PX: Final = 0.8
_TOGETHER: Final = 3.0
_TOGETHER_PX: Final = 0.1
"""Pictures do not go together if corners are off by so many times what each leaves alone."""
_MOST_DOUBT_MM: Final = 0.6
_LEAST_ACROSS_MM: Final = 250.0
_BLURRED: Final = 0.2
"""In a blurred picture less than this part of what changes over 8 pixels changes over one."""


def refuse_without_sheets(photo: Photo, frame: Frame, markers: int) -> PhotoError:
    """Why no sheet was found in a picture."""
    light = photo.light[::4, ::4]
    middle, low, high = (float(each) for each in np.percentile(light, (50, 2, 98)))
    if high < 4.0 * _DARK and middle < _DARK:
        return PhotoError(
            f"{photo.name} is too dark to find the frame; light the table evenly, without flash, "
            "and take it again."
        )
    if low > _CLIPPED or np.mean(light > _CLIPPED) > 0.6:
        return PhotoError(
            f"{photo.name} is overexposed: most of it is plain white. Tap on the sheets to set the "
            "light, keep the flash off, and take it again."
        )
    if high - low < 2.0 * _LEAST_CONTRAST:
        return PhotoError(
            f"{photo.name} shows hardly any difference of light; wipe the lens, light the table, "
            "and take it again."
        )
    if mirrored(frame, photo.grey):
        return PhotoError(
            f"{photo.name} is mirrored, as some cameras do on their front side; switch mirroring "
            "off or use the camera on the back, and take it again."
        )
    if markers >= 3:
        return PhotoError(
            f"{photo.name} shows single markers, but no whole sheet of the frame; have whole "
            "sheets in the picture, nothing lying on them, and take it again."
        )
    if _detail(photo) < _BLURRED:
        return PhotoError(
            f"{photo.name} is blurred: no sheet can be read in it. Hold still, tap on the sheets "
            "to focus, and take it again."
        )
    return PhotoError(
        f"{photo.name} shows no sheet of the frame; tape the printed sheets round the template, "
        "have them in the picture, large and flat, and take it again."
    )


def _detail(photo: Photo) -> float:
    """How much of what changes over eight pixels changes from one to the next."""
    grey = photo.grey.astype(np.float32)
    near = np.percentile(np.abs(np.diff(grey, axis=1)), 99.8)
    far = np.percentile(np.abs(grey[:, 8:] - grey[:, :-8]), 99.8)
    return float(near / max(far, 1.0))


def require_sheets(photo: Photo, frame: Frame, sheets: Sequence[SeenSheet], markers: int) -> None:
    """See that a picture shows sheets that can be used.

    Raises:
        PhotoError: none, one, or one twice, or too small.
    """
    if not sheets:
        raise refuse_without_sheets(photo, frame, markers)
    copies = sorted({seen.sheet.number for seen in sheets if seen.copy})
    if copies:
        raise PhotoError(
            f"{photo.name} shows sheet {_listed(copies)} more than once: each sheet of a frame has "
            "its own number. Take the other frame away, or print sheets with other numbers."
        )
    side = float(np.median([seen.marker_px for seen in sheets]))
    if side < _LEAST_MARKER_PX:
        raise PhotoError(
            f"{photo.name} shows the sheets too small (a marker is {side:.0f} pixels wide, "
            f"{_LEAST_MARKER_PX:.0f} are needed); go nearer and take several pictures that overlap."
        )
    if len(sheets) < 2:
        raise PhotoError(
            f"{photo.name} shows sheet {sheets[0].sheet.number} only; have at least two sheets in "
            "every picture, better all of them."
        )


def require_clear(photo: Photo, saddles: Saddles, scale_px: float) -> None:
    """See that a picture is sharp, light and clear enough.

    Args:
        photo: the picture.
        saddles: its corners.
        scale_px: pixels for each mm.

    Raises:
        PhotoError: it is not.
    """
    good = saddles.good
    if good.sum() < 12:
        raise PhotoError(
            f"{photo.name} shows too few of the sheets' corners ({int(good.sum())}); let nothing "
            "lie on the sheets, see that they are sharp, and take it again."
        )
    spread = float(np.median(saddles.spread_px[good]))
    if spread > _MOST_SPREAD_PX or spread / scale_px > _MOST_SPREAD_MM:
        raise PhotoError(
            f"{photo.name} is blurred (light spreads over {spread:.1f} pixels); hold still, tap on "
            "the sheets to focus, wipe the lens, and take it again."
        )
    contrast = float(np.median(saddles.contrast[good]))
    if contrast < _LEAST_CONTRAST:
        raise PhotoError(
            f"{photo.name} is too dark: black and white on the sheets hardly differ. Light the "
            "table evenly and take it again."
        )
    if float(np.median(saddles.noise[good])) > _MOST_NOISE * contrast:
        raise PhotoError(
            f"{photo.name} is too noisy to measure in; give it more light and take it again."
        )


def require_upright(solved: Solved) -> None:
    """See that pictures were taken from above.

    Raises:
        PhotoError: one was taken too much from the side.
    """
    for sighting, pose in zip(solved.sightings, solved.poses, strict=True):
        tilt = tilt_deg(pose)
        if tilt > MOST_TILT_DEG:
            raise PhotoError(
                f"{sighting.name} was taken from the side, {tilt:.0f}° from straight above; stay "
                "within 35°: stand on a step, or hold the camera over the table."
            )


def tilt_deg(pose: FloatArray) -> float:
    """How far a camera looks from straight down, in degrees."""
    return float(np.degrees(np.arccos(min(1.0, abs(turn_matrix(pose[:3])[2, 2])))))


def require_enough(sheets: Collection[int]) -> None:
    """See that all pictures together show enough sheets.

    Raises:
        PhotoError: they do not.
    """
    if len(sheets) < LEAST_SHEETS:
        raise PhotoError(
            f"The pictures show {len(sheets)} sheets of the frame clearly; at least {LEAST_SHEETS} "
            "must lie round the template, better six or more, without glare or shadow on them."
        )


def require_round(solved: Solved) -> None:
    """See that the sheets go round something.

    Raises:
        PhotoError: they lie in a row.
    """
    points = np.vstack([
        solved.on_plane(number, np.array([(0.0, 0.0), (250.0, 0.0), (250.0, 100.0), (0.0, 100.0)]))
        for number in solved.sheets
    ])  # fmt: skip
    sizes = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if sizes[1] / np.sqrt(len(points)) * np.sqrt(12.0) < _LEAST_ACROSS_MM:
        raise PhotoError(
            "The sheets lie in one row; tape them round the template on all four sides, so that "
            "the frame holds it from every side."
        )


def require_fit(solved: Solved, alone_px: Sequence[float]) -> None:
    """See that what is seen goes with a camera over flat sheets.

    Args:
        solved: the common solution.
        alone_px: for each picture, what a solution of it alone leaves; empty for one picture.

    Raises:
        PhotoError: it does not.
    """
    left = solved.reprojection_px()
    own = max(alone_px, default=left)
    if left <= min(_BADLY_FITTED_PX, _TOGETHER * own + _TOGETHER_PX):
        return
    bad = [
        sighting.name
        for sighting, each in zip(solved.sightings, alone_px or [left], strict=True)
        if each > _BADLY_FITTED_PX
    ]
    if bad:
        raise PhotoError(
            f"{_listed(bad)} cannot be a plain photograph of flat sheets (corners are off by "
            f"{left:.1f} pixels): panoramas, cropped and retouched pictures cannot be measured in, "
            "and sheets must be taped flat on the table."
        )
    raise PhotoError(
        f"The pictures do not go together (corners are off by {left:.1f} pixels): a sheet was "
        "moved between them. Tape the sheets to the table and take all pictures anew."
    )


def require_sure(doubt_mm: float) -> None:
    """See that positions are sure enough to cut film by.

    Args:
        doubt_mm: the standard deviation of most positions.

    Raises:
        PhotoError: they are not.
    """
    if doubt_mm > _MOST_DOUBT_MM:
        raise PhotoError(
            f"Positions would be unsure by {2 * doubt_mm:.1f} mm: the sheets are too few, too far "
            "away or not flat. Go nearer, take several pictures, and tape six sheets or more flat "
            "round the template."
        )


def _listed(items: Sequence[object]) -> str:
    words = [str(item) for item in items]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
