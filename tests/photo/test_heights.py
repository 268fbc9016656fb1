"""Where pictures from several sides show that a sheet stands up: closed forms, and a known curl."""

from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import ndtr
from shapely import affinity

from layflat.base import FloatArray
from layflat.photo import PhotoError, Plane, Traced, trace
from layflat.photo.follow import Line
from layflat.photo.heights import Heights, heights, solved
from layflat.photo.lifted import compared_note, doubted, stretches
from layflat.photo.records import cubic_light
from photo.bad import BOX, plain, small
from photo.flatbed import linear, warped
from photo.rendered import Camera, Curl, Scene, camera, render
from photo.scenes import mirror_cap
from photo.truth import missed

RADIUS = 40.0


@dataclass(frozen=True, eq=False)
class Ring:
    """A circle of pen, or a round sheet, seen from afar: all of it appears moved by one shift."""

    lean: tuple[float, float]
    height_mm: float = 0.0
    bulge_mm: float = 0.0
    """More height on both sides where y is 0, falling off as a Gaussian of 25 mm."""
    moved_mm: tuple[float, float] = (0.0, 0.0)
    sheet: bool = False
    mm_per_px: float = 0.4
    sharp_mm: float = 0.3
    noise: float = 0.002

    def light_at(self, points_mm: FloatArray) -> FloatArray:
        high = self.height_mm + bulge(self.bulge_mm, points_mm[..., 1])
        shift = high[..., None] * np.array(self.lean) + self.moved_mm
        away = np.hypot(*(points_mm - shift).transpose(2, 0, 1)) - RADIUS
        if self.sheet:
            return 0.7 - 0.5 * ndtr(away / self.sharp_mm)
        bar = ndtr((away + 0.7) / self.sharp_mm) - ndtr((away - 0.7) / self.sharp_mm)
        return 0.7 - 0.6 * bar

    def sees(self, points_mm: FloatArray) -> NDArray[np.bool_]:
        return np.ones(points_mm.shape[:2], dtype=np.bool_)

    def leans_at(self, points_mm: FloatArray) -> FloatArray:
        return np.tile(self.lean, (len(points_mm), 1))

    def doubt_at(self, points_mm: FloatArray) -> FloatArray:
        return np.full(len(points_mm), 0.02)


def bulge(top_mm: float, y: FloatArray) -> FloatArray:
    return top_mm * np.exp(-0.5 * (y / 25.0) ** 2)


def ring_line() -> Line:
    """The circle as it was traced, where it lies on the table."""
    angle = np.linspace(0.0, 2.0 * np.pi, 250, endpoint=False)
    none = np.zeros(250, dtype=np.bool_)
    return Line(
        at_mm=RADIUS * np.column_stack((np.cos(angle), np.sin(angle))),
        doubt_mm=np.full(250, 0.02), measured=~none, bridged=none, by_hand=none,
        misfit=np.zeros(250), contrast=np.full(250, 0.8), corners=np.empty(0, dtype=np.int64),
        fixed=none, width_mm=1.4, closed=True,
    )  # fmt: skip


def ring_heights(*views: Ring) -> Heights:
    sheet = views[0].sheet
    plane = SimpleNamespace(light_at=views[0].light_at)
    found = heights(plane, ring_line(), views, "edge" if sheet else "line")  # type: ignore[arg-type]
    assert found is not None
    return found


@pytest.mark.parametrize("sheet", [False, True])
@pytest.mark.parametrize("height", [0.0, 1.3, -2.0, 4.0])
def test_a_raised_ring_is_as_high_as_the_parallax_says(height: float, sheet: bool) -> None:
    """Two pictures from afar: the ring moves by height times lean in each, nothing else."""
    pair = [Ring(lean, height, sheet=sheet) for lean in ((0.35, 0.1), (-0.3, 0.1))]
    found = ring_heights(*pair)
    assert 0.8 < found.told.mean() < 1.0  # not where both look along the line
    # The ring's shift across is not quite the shift's part across: off by its square over 2 R.
    allowed = 0.01 + (0.37 * height) ** 2 / RADIUS
    np.testing.assert_allclose(found.height_mm[found.told], height, atol=allowed + 0.03)
    assert found.apart_mm.max() == 0.0
    assert found.sure.any() == (height != 0.0)
    if not height:
        assert not doubted(found, np.full(250, 0.15)).any()


def test_the_line_is_followed_to_where_a_picture_shows_it_far_off() -> None:
    """Leans along x leave y as it is, so that the bulging ring is known exactly."""
    found = ring_heights(Ring((0.4, 0.0), bulge_mm=12.0), Ring((-0.3, 0.0), bulge_mm=12.0))
    at = ring_line().at_mm
    beside = np.abs(at[:, 1]) < 15.0
    assert found.sure[beside].all()
    np.testing.assert_allclose(
        found.height_mm[beside], bulge(12.0, at[beside, 1]), atol=0.6
    )  # the mean over 14 mm


def test_an_interval_holds_what_a_bend_takes_from_the_length() -> None:
    """Paper that rises by h on a circle of 50 mm comes nearer by its arc less its chord's foot."""
    for height in (1.0, 3.0):
        leans = np.tile([[0.3], [-0.3]], (1, 20))
        found = solved(height * leans, leans, np.full((2, 20), 1e8))
        nearer = 50.0 * np.arccos(1 - height / 50.0) - np.sqrt(100.0 * height - height**2)
        np.testing.assert_allclose(found.off_mm, nearer, rtol=0.05)


def test_one_picture_or_two_from_the_same_side_tell_nothing() -> None:
    assert heights(plain(), ring_line(), [Ring((0.3, 0.0))], "line") is None  # type: ignore[list-item]
    found = ring_heights(Ring((0.3, 0.0), 4.0), Ring((0.31, 0.02), 4.0))
    assert not found.told.any()
    assert not doubted(found, np.full(250, 0.15)).any()
    assert "too like each other" in compared_note([found.told])[0]
    assert compared_note([np.ones(9, dtype=np.bool_)]) == []


def test_a_sheet_that_was_moved_is_no_height() -> None:
    """From the same side only a move tells the pictures apart."""
    found = ring_heights(Ring((0.2, 0.0)), Ring((0.2, 0.01), moved_mm=(0.0, 1.5)))
    assert found.apart_mm.max() == pytest.approx(1.5, abs=0.1)
    assert stretches(doubted(found, np.full(250, 0.15)))


def test_three_pictures_are_weighed_by_least_squares() -> None:
    """As numpy's own least squares has it, at one place whose neighbours say the same."""
    shifts, leans = np.array([0.31, -0.44, 0.02]), np.array([0.4, -0.5, 0.05])
    doubts = np.array([0.05, 0.08, 0.05])
    rows = np.column_stack((np.ones(3), leans)) / doubts[:, None]
    middle, height = np.linalg.lstsq(rows, shifts / doubts, rcond=None)[0]
    found = solved(*(np.tile(each[:, None], (1, 20)) for each in (shifts, leans, doubts**-2)))
    np.testing.assert_allclose(found.height_mm, height, rtol=1e-3)
    assert found.sure.all()
    assert (found.off_mm > abs(middle)).all()


@dataclass(frozen=True, eq=False)
class Shot:
    """A rendered photograph with its true camera."""

    photo: NDArray[np.uint8]
    light: NDArray[np.float32]
    by: Camera
    mm_per_px: float = 0.5
    sharp_mm: float = 0.35
    noise: float = 0.006

    def light_at(self, points_mm: FloatArray) -> FloatArray:
        pixels = self.by.project(points_mm.reshape(-1, 2)).reshape(points_mm.shape)
        return cubic_light(self.light, pixels)

    def sees(self, points_mm: FloatArray) -> NDArray[np.bool_]:
        return np.ones(points_mm.shape[:2], dtype=np.bool_)

    def leans_at(self, points_mm: FloatArray) -> FloatArray:
        return (points_mm - self.by.place_mm[:2]) / self.by.place_mm[2]

    def doubt_at(self, points_mm: FloatArray) -> FloatArray:
        return np.full(len(points_mm), 0.02)


CURL = Curl((90.0, 0.0), 0.0, 120.0)
CAP = mirror_cap()


@cache
def shot(side: float, curl: Curl | None = None, moved: float = 0.0) -> Shot:
    drawn = small(curl=curl, sheet_mm=(-145.0, -108.0, 145.0, 108.0)).traced()
    lines = [replace(p, shape=affinity.translate(p.shape, moved, moved)) for p in drawn.paints]
    by = camera((720, 540), over_mm=(310.0, 230.0), tilt_deg=20.0, towards_deg=side)
    photo = render(Scene(tuple(lines), curl=curl), by)
    return Shot(photo, linear(photo), by)


def traced(*shots: Shot) -> Traced:
    planes = [warped(each.photo, each.by, BOX, mm_per_px=0.5) for each in shots]
    joined: Plane = replace(
        planes[0],
        grey=np.mean([each.grey for each in planes], axis=0),
        seen=np.all([each.seen for each in planes], axis=0),
    )
    return trace(joined, views=shots, follow="line")  # type: ignore[arg-type]


def test_a_flat_sheet_gives_no_doubt() -> None:
    found = traced(shot(-90.0), shot(90.0))
    assert found.curves[0].unsure == ()
    assert found.notes == ()
    assert found.curves[0].interval_mm.max() < 0.25


def test_a_curl_is_named_as_high_as_it_is_and_the_interval_holds_it() -> None:
    """The cap reaches to x = 121 mm: bent on a cylinder of 120 mm from 90 mm on it is 4 mm up."""
    found = traced(shot(-90.0, CURL), shot(90.0, CURL)).curves[0]
    (stretch,) = found.unsure
    high = 120.0 - np.sqrt(120.0**2 - (CAP.bounds[2] - 90.0) ** 2)
    assert stretch.why.startswith(f"the paper stands up here by about {high:.0f} mm")
    error = missed(found, CAP)
    assert error.worst_mm > 0.2  # seen from above the curl is shorter
    assert error.within > 0.98


def test_a_sheet_moved_between_the_pictures_is_refused() -> None:
    with pytest.raises(PhotoError, match="do not agree") as caught:
        traced(shot(-90.0), shot(90.0, None, 1.2))
    assert len(caught.value.at_mm) == 1
