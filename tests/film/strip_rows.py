"""Strip tests as a shop would write them down, from a law of one's choice."""

from collections.abc import Callable, Sequence

import numpy as np

from layflat.film import Loaded, Strip, StripTest, Unloaded

WIDTH_MM, THICKNESS_UM, MARKED_MM = 25.0, 150.0, 300.0
LOADS_G = (100.0, 200.0, 300.0, 400.0, 500.0, 600.0, 800.0)


def pull_mpa(load_g: float, *, width_mm: float = WIDTH_MM, um: float = THICKNESS_UM) -> float:
    """By hand: grams to newtons by 9.80665 m/s², over width times thickness."""
    return load_g * 9.80665e-3 / (width_mm * um * 1e-3)


def strip_test(
    stretch_of: Callable[[float], float],
    *,
    loads_g: Sequence[float] = LOADS_G,
    limit: float = 0.05,
    stays: float = 0.25,
    seed: int | None = None,
    reading_mm: float = 0.5,
) -> StripTest:
    """A test of a film that stretches by `stretch_of(MPa)`.

    Beyond *limit* the share *stays* of its stretch is left when it is let go. With a *seed* every
    number is off at random by as much as the strip says it can be; without, all are exact.
    """
    random = np.random.default_rng(seed)

    def off(most: float) -> float:
        return float(random.uniform(-most, most)) if seed is not None else 0.0

    loaded, unloaded = [], []
    for load in loads_g:
        stretch = stretch_of(pull_mpa(load + off(1.0)))
        length = MARKED_MM * (1.0 + stretch) + off(reading_mm)
        loaded.append(Loaded(load_g=load, length_mm=length, wait_min=2.0))
        left = MARKED_MM * (1.0 + stays * max(0.0, stretch - limit)) + off(reading_mm)
        unloaded.append(Unloaded(after_g=load, length_mm=left, wait_min=30.0))
    strip = Strip(
        width_mm=WIDTH_MM + off(0.2),
        thickness_um=THICKNESS_UM + off(5.0),
        marked_mm=MARKED_MM + off(reading_mm),
        reading_mm=reading_mm,
    )
    return StripTest(name="made up", strip=strip, loaded=tuple(loaded), unloaded=tuple(unloaded))
