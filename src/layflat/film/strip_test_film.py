"""What a strip test says, in words and as a film."""

from dataclasses import replace
from typing import Any

from layflat.film.material import Basis, Film
from layflat.film.strip_test import StripTest
from layflat.film.strip_test_fit import StripFit
from layflat.film.strip_test_recovery import Recovery

_SAID_AT = 0.05
"""The stretch at which softening is told in words."""


def film_of_strip(
    test: StripTest, fit: StripFit, recovery: Recovery, base: Film, *, where: str
) -> Film:
    """The film with what was measured in place of *base*'s values; each source says what it is.

    Poisson's ratio, the finger limit and the direction stay those of *base*: a tape cannot tell
    them. The stretch limit is taken over where it was found, or where all came back from at least
    *base*'s limit.

    Args:
        test: the strip test.
        fit, recovery: what it says.
        base: the film for all that was not measured.
        where: the name of the test's file, for the sources.
    """
    sources, basis = dict(base.sources), dict(base.basis)
    sources["name"] = f"As written in {where}."
    error_um = test.strip.thickness_error_um
    sources["thickness_um"] = f"As written in {where}, off by {error_um:g} µm at most."
    basis["thickness_um"] = test.strip.thickness_basis.value
    sources["youngs_modulus_mpa"] = (
        f"Measured by strip test: {modulus_words(fit)} {waits_words(test)}, {len(test.loaded)} "
        f"readings under up to {test.loaded[-1].load_g:g} g, {where}. {softening_words(fit)}"
    )
    basis["youngs_modulus_mpa"] = Basis.MEASURED.value
    film = replace(
        base,
        name=test.name,
        thickness_um=test.strip.thickness_um,
        youngs_modulus_mpa=float(f"{fit.modulus_mpa:.4g}"),
    )
    found = stretch_limit_found(fit, recovery, base)
    if found is not None:
        film = replace(film, stretch_limit=found)
        sources["stretch_limit"] = f"Measured by strip test, {where}: {recovery_words(recovery)}"
        basis["stretch_limit"] = Basis.MEASURED.value
    return replace(film, sources=sources, basis=basis)


def stretch_limit_found(fit: StripFit, recovery: Recovery, base: Film) -> float | None:
    """The stretch limit that the test stands for, or None where *base*'s has to stay.

    Where no set was seen, the film's limit lies anywhere above what was tried: that is no reason
    to lower *base*'s. Where rows under load contradict, nobody knows how far the film was
    stretched.
    """
    found = recovery.proposed if fit.widened == 1.0 else None
    if found is None or (recovery.limit is None and found < base.stretch_limit):
        return None
    return found


def modulus_words(fit: StripFit) -> str:
    """The modulus with its uncertainty."""
    return f"{fit.modulus_mpa:.3g} ± {fit.modulus_error_mpa:.2g} MPa (95 %)"


def waits_words(test: StripTest) -> str:
    """How long after loading the lengths were read."""
    waits = sorted({row.wait_min for row in test.loaded})
    if len(waits) == 1:
        return f"after {waits[0]:g} min under load"
    return f"after {waits[0]:g} to {waits[-1]:g} min under load"


def softening_words(fit: StripFit) -> str:
    """How the slope falls, as sentences."""
    words = f"Softening {fit.softening:.2g} ± {fit.softening_error:.2g}: "
    if abs(fit.softening) <= fit.softening_error:
        return words + "not told from none."
    return words + (
        f"at {_SAID_AT:.0%} stretch it pulls with {fit.pull_share(_SAID_AT):.0%} of what its first "
        f"slope would give, and its slope is {fit.slope_share(_SAID_AT):.0%} of the first."
    ).replace("%", " %")


def recovery_words(recovery: Recovery) -> str:
    """From which stretch the film no longer comes back, as sentences."""
    after = f"after {recovery.wait_min:g} min or more with the weight off"
    if recovery.limit is None:
        return (
            f"it came back from {100 * recovery.greatest:.1f} %, the greatest stretch tried, as "
            f"far as the tape can tell, {after}."
        )
    return (
        f"it came back from up to {100 * recovery.limit:.1f} % (95 %: {100 * recovery.low:.1f} to "
        f"{100 * recovery.high:.1f} %) {after}; beyond, {100 * recovery.set_share:.0f} % of the "
        "rest stayed. The low end counts."
    )


def strip_notes(test: StripTest, fit: StripFit, recovery: Recovery, base: Film) -> tuple[str, ...]:
    """Sentences for a person: contradictions, what was not measured, and why."""
    notes = [*fit.notes, *recovery.notes]
    waits = [row.wait_min for row in test.loaded]
    if max(waits) > 2.0 * min(waits):
        notes.append(
            f"The lengths under load were read after {min(waits):g} to {max(waits):g} min; film "
            "creeps, so wait alike for every row."
        )
    if test.torn_g is not None:
        notes.append(
            f"The strip tore under {test.torn_g:g} g; nothing is known beyond "
            f"{test.loaded[-1].load_g:g} g."
        )
    if stretch_limit_found(fit, recovery, base) is None and recovery.stretches:
        why = "all came back, but from less than that" if recovery.limit is None else (
            f"what was found, {100 * recovery.low:.1f} to {100 * recovery.high:.1f} %, is too wide"
        )  # fmt: skip
        if recovery.stretches < 3:
            why = "too little was read with the weights off"
        if fit.widened > 1.0:
            why = "the readings under load contradict, so how far it was stretched is not sure"
        notes.append(
            f"The stretch limit stays {100 * base.stretch_limit:g} % "
            f"({base.basis_of('stretch_limit')}): {why}."
        )
    notes.append(
        f"Poisson's ratio stays {base.poisson_ratio:g} and the finger limit "
        f"{100 * base.finger_limit:g} % ({base.basis_of('poisson_ratio')}; "
        f"{base.basis_of('finger_limit')}): a tape cannot tell them."
    )
    return tuple(notes)


def strip_table(test: StripTest, fit: StripFit) -> tuple[str, ...]:
    """The loaded rows beside the law, a line each."""
    lines = [f"{'load':>8} {'stress':>9} {'length':>10} {'stretch':>8} {'law':>10} {'off':>8}"]
    for row, fitted in zip(test.loaded, fit.fitted_mm.tolist(), strict=True):
        stretch = 100 * (row.length_mm / fit.marked_mm - 1.0)
        lines.append(
            f"{row.load_g:6g} g {test.strip.stress_mpa(row.load_g):5.2f} MPa "
            f"{row.length_mm:7.1f} mm {stretch:6.2f} % {fitted:7.1f} mm "
            f"{row.length_mm - fitted:+5.1f} mm"
        )
    return tuple(lines)


def strip_lines(test: StripTest, fit: StripFit, recovery: Recovery) -> tuple[str, ...]:
    """The test for a person: its table and what it comes to, a line each."""
    verdict = "the rows agree with the law" if fit.widened == 1.0 else "see the notes"
    stiffness = fit.modulus_mpa * test.strip.thickness_um / 1e3
    lines = [
        *strip_table(test, fit),
        f"Young's modulus: {modulus_words(fit)} {waits_words(test)}.",
        f"Stiffness, which does not rest on the thickness: {stiffness:.3g} N/mm.",
        softening_words(fit),
        f"Fit: chi-square {fit.chi_square:.2f} on {fit.freedom} degrees of freedom; {verdict}.",
    ]
    if recovery.stretches:
        lines.append(f"Recovery: {recovery_words(recovery)}")
    return tuple(lines)


def strip_results(test: StripTest, fit: StripFit, recovery: Recovery, film: Film) -> dict[str, Any]:
    """What came out, for a report."""
    found = recovery.limit is not None
    return {
        "film": film.name,
        "youngs_modulus_mpa": fit.modulus_mpa,
        "youngs_modulus_error_mpa": fit.modulus_error_mpa,
        "softening": fit.softening,
        "softening_error": fit.softening_error,
        "marked_mm": fit.marked_mm,
        "covariance": fit.covariance,
        "confidence": 0.95,
        "chi_square": fit.chi_square,
        "degrees_of_freedom": fit.freedom,
        "odds_of_more": fit.odds,
        "widened": fit.widened,
        "rows": [
            {
                "load_g": row.load_g,
                "stress_mpa": test.strip.stress_mpa(row.load_g),
                "length_mm": row.length_mm,
                "wait_min": row.wait_min,
                "law_mm": fitted,
                "off_deviations": off,
            }
            for row, fitted, off in zip(
                test.loaded, fit.fitted_mm.tolist(), fit.off.tolist(), strict=True
            )
        ],
        "recovery": {
            "greatest_stretch": recovery.greatest,
            "limit": recovery.limit,
            "limit_low": recovery.low if found else None,
            "limit_high": recovery.high if found else None,
            "set_share": recovery.set_share,
            "shortest_wait_min": recovery.wait_min,
        },
        "torn_g": test.torn_g,
        "stretch_limit": film.stretch_limit,
        "basis": {key: str(word) for key, word in film.basis.items()},
    }
