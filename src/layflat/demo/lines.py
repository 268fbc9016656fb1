"""Lines that several bodies share: wheel arches, the lower rim, the mirror cap."""

import numpy as np

from layflat.base import FloatArray
from layflat.demo.drawing import LEFT, Sheet, evened
from layflat.demo.fields import Field, meet
from layflat.demo.sketch import image, panel
from layflat.surface import EdgeKind, Panel


def spot(skin: Field, sheet: Sheet, u: float, v: float) -> FloatArray:
    """The point (3,) of the skin that is drawn at (u, v)."""
    point: FloatArray = sheet.lay(skin, np.array([[u, v]]))[0]
    return point


def arch_line(
    skin: Field,
    axle: float,
    hub: float,
    radius: float,
    start_deg: float,
    end_deg: float,
    low: float,
) -> FloatArray:
    """A line round a wheel arch, from the front (0 degrees) over the top to the rear (180).

    Below the hub it runs straight down, to the height *low*: the angles are then only a side.
    """
    turn = np.radians(np.linspace(np.clip(start_deg, 0, 180), np.clip(end_deg, 0, 180), 120))
    drawn = np.stack([axle + radius * np.cos(turn), hub + radius * np.sin(turn)], axis=1)
    for angle, front in ((start_deg, False), (end_deg, True)):
        if angle <= 0 or angle >= 180:
            x = axle + radius * (1.0 if angle <= 0 else -1.0)
            down = np.array([[x, low if low > 0 else hub - 30.0]])
            drawn = np.vstack([drawn, down] if front else [down, drawn])
    return LEFT.lay(skin, evened(drawn, 12.0))


def low_line(skin: Field, centre_x: float, start: FloatArray) -> FloatArray:
    """The line of constant height from *start* round the nose to its image on the right."""
    side = np.arctan2(start[1], start[0] - centre_x)
    turn = np.linspace(side, -side, 161)
    away = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=1)
    begin = np.array([centre_x, 0.0, start[2]]) + 4000.0 * away
    line = meet(skin, begin, -away, reach=4000.0)
    line[0], line[-1] = start, start * np.array([1.0, -1.0, 1.0])
    return line


def mirror_panel(
    skin: Field, centre: tuple[float, float, float], half: tuple[float, float, float]
) -> tuple[Panel, Panel]:
    """The caps of both mirrors, in front of the widest section."""
    turn = np.linspace(0.0, 2 * np.pi, 97)
    away = np.stack([np.zeros_like(turn), np.cos(turn), np.sin(turn)], axis=1)
    middle = np.array(centre) + np.array([0.12 * half[0], 0.0, 0.0])
    rim = meet(skin, middle + 300.0 * away, -away, reach=300.0)
    rim[-1] = rim[0]
    quarter = len(turn) // 2
    strokes = [
        ("top", EdgeKind.OPEN, rim[: quarter + 1]),
        ("low", EdgeKind.OPEN, rim[quarter:]),
    ]
    left = panel("mirror-left", skin, strokes)
    return left, image(left, "mirror-right")
