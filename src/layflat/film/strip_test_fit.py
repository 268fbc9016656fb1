"""Modulus and softening from a strip test: weighted least squares with what readings can be off.

The law has two numbers, the modulus E at small stretch and the softening q. With the pull s on the
first cross-section and the stretch e,

    s = E e / (1 + q e),      so that      e = s / (E - q s).

This is the hyperbola of R. L. Kondner (J. Soil Mech. Found. Div. ASCE 89 (1963) SM1, 115-143,
from memory), made for soils. It is taken because a strip test hangs known weights and reads
lengths: its inverse is as plain as itself, q may have either sign (soft urethanes can stiffen:
G. Scetta et al., arXiv 2104.02504, abstract), and at the stretches of laid film it follows the laws
of rubber: s = E (e - c e² + ...) has c = q here, c = 1 for neo-Hooke, c = 1 to 2 for Mooney-Rivlin.

Three numbers are fitted: 1/E, q/E and the marked length itself, which was read off the tape like
every other, by the trust-region method of M. A. Branch, T. F. Coleman, Y. Li (SIAM J. Sci. Comput.
21 (1999) 1-23, from memory; scipy's `least_squares`). What a reading can be off by at most, a,
counts as a rectangular distribution of standard deviation a/sqrt(3) (JCGM 100:2008, 4.3.7). Width
and thickness are wrong alike in all rows: they are added to the uncertainty of E after the fit.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import chdtrc, ndtri, stdtrit

from layflat.base import CheckError, FloatArray, SettingError, frozen
from layflat.film.strip_test import StripTest

LEAST_ODDS = 0.01
"""Below these odds of so great a chi-square the rows contradict the law or each other."""

_BETTER = (
    "The rows agree better than the stated reading errors let expect; state smaller ones if the "
    "tape allows."
)
_FINE_ODDS = 0.05
_STEPS = 100
_TOLERANCE = 1e-12
_ROUNDS = 3
_MODULUS_MPA = (0.1, 10_000.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class StripFit:
    """Modulus and softening with their uncertainty.

    Attributes:
        modulus_mpa: E, at small stretch.
        softening: q; the film pulls with 1 / (1 + q e) of what its first slope would give.
        marked_mm: the marked length that all rows together speak for.
        covariance: (3, 3) float64, of E, q and the marked length; width and thickness counted.
        factor: how many standard deviations the 95 % interval reaches to either side.
        fitted_mm: (n,) float64, the length that the law gives each loaded row.
        off: (n,) float64, read less fitted, in standard deviations of the reading.
        chi_square, freedom: of the fit; the odds of more by chance.
        widened: what the uncertainty was multiplied by since rows contradict the law; 1 if not.
        notes: sentences for a person.
    """

    modulus_mpa: float
    softening: float
    marked_mm: float
    covariance: FloatArray
    factor: float
    fitted_mm: FloatArray
    off: FloatArray
    chi_square: float
    freedom: int
    odds: float
    widened: float
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        for name in ("covariance", "fitted_mm", "off"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def modulus_error_mpa(self) -> float:
        """Half the 95 % interval of the modulus."""
        return self.factor * math.sqrt(float(self.covariance[0, 0]))

    @property
    def softening_error(self) -> float:
        """Half the 95 % interval of the softening."""
        return self.factor * math.sqrt(float(self.covariance[1, 1]))

    def pull_share(self, stretch: float) -> float:
        """What the film pulls with at a stretch, as a share of what its first slope would give."""
        return 1.0 / (1.0 + self.softening * stretch)

    def slope_share(self, stretch: float) -> float:
        """The slope at a stretch, as a share of the first."""
        return self.pull_share(stretch) ** 2


def fit_strip(test: StripTest) -> StripFit:
    """Modulus and softening of the film of *test*.

    Raises:
        SettingError: the rows fit no modulus that a film can have, or hardly tell one.
        CheckError: the fit does not settle.
    """
    strip = test.strip
    stress = np.array([strip.stress_mpa(row.load_g) for row in test.loaded])
    read = np.array([strip.marked_mm, *(row.length_mm for row in test.loaded)])
    best = _fit(test, stress, read)
    chi_square = float(best.off @ best.off)
    freedom = len(read) - 3
    odds = float(chdtrc(freedom, chi_square))
    contradicts = odds < LEAST_ODDS
    widened = math.sqrt(chi_square / freedom) if contradicts else 1.0
    notes = _agreement(test, stress, read, best, chi_square=chi_square, odds=odds, widened=widened)
    inverse, bent, marked = best.values
    modulus, softening = 1.0 / inverse, bent / inverse
    turn = np.array(
        [[-(modulus**2), 0.0, 0.0], [-softening * modulus, modulus, 0.0], [0.0, 0.0, 1.0]]
    )
    covariance = widened**2 * (turn @ best.covariance @ turn.T)
    section = np.array(
        [strip.width_error_mm / strip.width_mm, strip.thickness_error_um / strip.thickness_um]
    )
    covariance[0, 0] += modulus**2 * float(section @ section) / 3.0
    factor = float(stdtrit(freedom, 0.975) if contradicts else ndtri(0.975))
    fit = StripFit(
        modulus_mpa=float(modulus),
        softening=float(softening),
        marked_mm=float(marked),
        covariance=covariance,
        factor=factor,
        fitted_mm=best.lengths[1:],
        off=best.off[1:],
        chi_square=chi_square,
        freedom=freedom,
        odds=odds,
        widened=widened,
        notes=notes,
    )
    _require_sense(fit)
    return fit


@dataclass(frozen=True, eq=False)
class _Best:
    """The least squares: 1/E, q/E, marked length; lengths and misfits, marked length first."""

    values: FloatArray
    covariance: FloatArray
    lengths: FloatArray
    off: FloatArray


def _fit(test: StripTest, stress: FloatArray, read: FloatArray) -> _Best:
    """Least squares whose weights follow the slope, the covariance from the model's slopes."""
    reading = test.strip.reading_mm / math.sqrt(3.0)
    pull = test.strip.stress_mpa(test.strip.load_error_g) / math.sqrt(3.0)
    first = max((read[-1] / read[0] - 1.0) / stress[-1], 1.0 / _MODULUS_MPA[1])
    values = np.array([first, 0.0, read[0]])
    deviation = np.full(len(read), reading)
    for _ in range(_ROUNDS):
        values = _least_squares(values, stress, read, deviation)
        # A load that is a little off moves the length by the slope.
        inverse, bent, marked = values
        deviation[1:] = np.hypot(reading, pull * marked * inverse / (1.0 - bent * stress) ** 2)
    lengths, slopes = _model(values, stress)
    scaled = slopes / deviation[:, None]
    return _Best(values, np.linalg.inv(scaled.T @ scaled), lengths, (read - lengths) / deviation)


def _least_squares(
    values: FloatArray, stress: FloatArray, read: FloatArray, deviation: FloatArray
) -> FloatArray:
    """The three numbers of least misfit, from *values* on."""

    def off(at: FloatArray) -> FloatArray:
        return np.asarray((_model(at, stress)[0] - read) / deviation)

    def slopes(at: FloatArray) -> FloatArray:
        return np.asarray(_model(at, stress)[1] / deviation[:, None])

    # Outside of its bounds the law has no such stretch; this method stays strictly inside of them.
    found = least_squares(
        off,
        values,
        slopes,
        method="trf",
        bounds=([0.0, -np.inf, -np.inf], [np.inf, 1.0 / stress.max(), np.inf]),
        x_scale="jac",
        ftol=_TOLERANCE,
        xtol=_TOLERANCE,
        gtol=_TOLERANCE,
        max_nfev=_STEPS,
    )
    if not found.success:
        raise CheckError(
            f"The fit of the strip test did not settle in {_STEPS} steps; look for a reading that "
            "contradicts the others."
        )
    return np.asarray(found.x)


def _model(values: FloatArray, stress: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The lengths, the marked one first, and their slopes by the three numbers."""
    inverse, bent, marked = values
    under = 1.0 - bent * stress
    stretch = inverse * stress / under
    lengths = marked * np.concatenate(([1.0], 1.0 + stretch))
    slopes = np.zeros((len(lengths), 3))
    slopes[1:, 0] = marked * stress / under
    slopes[1:, 1] = marked * inverse * (stress / under) ** 2
    slopes[:, 2] = lengths / marked
    return lengths, slopes


def _agreement(
    test: StripTest,
    stress: FloatArray,
    read: FloatArray,
    best: _Best,
    *,
    chi_square: float,
    odds: float,
    widened: float,
) -> tuple[str, ...]:
    """What the misfits say of the rows, the law and the stated reading errors."""
    freedom = len(read) - 3
    if odds > 1.0 - 0.5 * LEAST_ODDS:
        return (_BETTER,)
    if odds >= LEAST_ODDS:
        return ()
    wide = (
        f"chi-square is {chi_square:.1f} on {freedom} degrees of freedom; the uncertainties are "
        f"widened {widened:.1f} times"
    )
    worst = int(np.abs(best.off[1:]).argmax())
    row = test.loaded[worst]
    if freedom > 1:
        others = np.arange(len(stress)) != worst
        rest = _fit(test, stress[others], read[np.concatenate(([True], others))])
        if float(chdtrc(freedom - 1, float(rest.off @ rest.off))) >= _FINE_ODDS:
            by = row.length_mm - float(_model(rest.values, stress[worst : worst + 1])[0][1])
            sentence = (
                f"The reading under {row.load_g:g} g contradicts the others, which agree without "
                f"it: it is {abs(by):.1f} mm too {'long' if by > 0 else 'short'}. Read it again "
                f"({wide})."
            )
            return (sentence,)
    sentence = (
        "The rows bend otherwise than the law can, or contradict each other by more than they can "
        f"be off, most under {row.load_g:g} g: {wide}."
    )
    return (sentence,)


def _require_sense(fit: StripFit) -> None:
    least, most = _MODULUS_MPA
    if not least <= fit.modulus_mpa <= most:
        raise SettingError(
            f"The rows give a modulus of {fit.modulus_mpa:.3g} MPa, which no film has ({least:g} "
            f"to {most:g}); look at loads, width, thickness and their units again."
        )
    if fit.modulus_error_mpa > fit.modulus_mpa:
        raise SettingError(
            f"The rows hardly tell the modulus ({fit.modulus_mpa:.3g} ± "
            f"{fit.modulus_error_mpa:.2g} MPa): hang heavier weights, take more rows, or mark a "
            "longer strip."
        )
