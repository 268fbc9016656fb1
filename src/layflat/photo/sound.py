"""Pictures and lines that no shape should be taken from, refused with the reason."""

import numpy as np
from shapely import Polygon, is_valid_reason

from layflat.photo.follow import STEP_MM, Line
from layflat.photo.records import PhotoError, Plane
from layflat.photo.smooth import runs

MOST_MM_PER_PX = 1.2
_MOST_BLUR_MM = 1.6
_DARK = 0.012
_BLEACHED = 0.985
_LEAST_SEEN_MM2 = 100.0**2
_LEAST_MEASURED = 0.75
_MOST_HIDDEN_MM = 25.0
_BROADEST_PEN_MM = 4.5


def require_sound_plane(plane: Plane) -> None:
    """Refuse a picture that is too coarse, dark, bleached, blurred or empty.

    Raises:
        PhotoError: with the reason and what to do.
    """
    if plane.mm_per_px > MOST_MM_PER_PX:
        raise PhotoError(
            f"A pixel of the picture covers {plane.mm_per_px:.1f} mm; a line needs "
            f"{MOST_MM_PER_PX:g} mm or less: go nearer, or take several overlapping pictures."
        )
    if plane.sharp_mm > _MOST_BLUR_MM:
        raise PhotoError(
            f"The picture is blurred over {2 * plane.sharp_mm:.1f} mm; hold the phone still, let "
            "it focus, and photograph again in more light."
        )
    step = max(1, min(plane.grey.shape) // 400)
    light = plane.grey[::step, ::step][plane.seen[::step, ::step]]
    if light.size * (step * plane.mm_per_px) ** 2 < _LEAST_SEEN_MM2:
        raise PhotoError(
            "Hardly anything inside the frame was seen; take pictures that together show all of "
            "the table between the printed sheets."
        )
    if float(np.percentile(light, 95)) < _DARK:
        raise PhotoError(
            "The picture is too dark to see a line; photograph it again in more light."
        )
    bleached = float(np.mean(light > _BLEACHED))
    if bleached > 0.3:
        raise PhotoError(
            f"{100 * bleached:.0f} of 100 parts of the picture are bleached white, where a line "
            "loses its place; photograph it again in softer light or less exposed."
        )


def require_sound_line(line: Line, kind: str) -> None:
    """Refuse a line of which too much was not seen, or that cannot be one pen's.

    Args:
        line: measured, smoothed.
        kind: what people call it, as “outline”.

    Raises:
        PhotoError: with the reason and what to do.
    """
    sure = line.measured | line.by_hand
    if float(sure.mean()) < _LEAST_MEASURED:
        raise PhotoError(
            f"Only {100 * float(sure.mean()):.0f} of 100 parts of the {kind} can be seen well "
            "enough to measure; trace it with a darker marker, or photograph it again in "
            "even light."
        )
    longest = max(
        ((length, first) for first, length in runs(~sure, closed=line.closed)), default=(0, 0)
    )
    if longest[0] * STEP_MM > _MOST_HIDDEN_MM:
        x, y = line.at_mm[(longest[1] + longest[0] // 2) % len(line.at_mm)]
        raise PhotoError(
            f"The {kind} cannot be seen over {longest[0] * STEP_MM:.0f} mm about ({x:.0f}, "
            f"{y:.0f}) mm; trace it again there, or put points along it."
        ).about((x, y))
    polygon = Polygon(line.at_mm)
    if not polygon.is_valid:
        raise PhotoError(
            f"The {kind} touches or crosses itself ({is_valid_reason(polygon)}, in mm); put points "
            "along the right way there, or draw it anew."
        )


def require_one_pen(line: Line, kind: str) -> None:
    """Refuse a line broader than a pen draws, of which the middle means nothing.

    Raises:
        PhotoError: with the reason and what to do.
    """
    if line.width_mm > _BROADEST_PEN_MM:
        raise PhotoError(
            f"The {kind} is {line.width_mm:.1f} mm broad, so that its middle says little; trace "
            "with a marker 1 to 2 mm wide."
        )
