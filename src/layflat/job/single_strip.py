"""The work of `layflat strip`: a strip test to a film file."""

from pathlib import Path
from typing import Any

from layflat.base import Report
from layflat.film import (
    CAUTION,
    film_of_strip,
    film_toml,
    fit_strip,
    read_strip_test,
    recovery_of,
    strip_lines,
    strip_notes,
    strip_results,
)
from layflat.job.done import Done
from layflat.job.single import film_of


def strip_file(path: Path, *, film_path: Path | None = None) -> Done:
    """The film that the strip test in the file at *path* was made on.

    Args:
        path: the test (TOML).
        film_path: a film file for what a strip test cannot tell, or None for the generic film.

    Returns:
        The film file as .toml with its report.

    Raises:
        InputError: a file cannot be used, or the rows cannot be; says why.
    """
    defaults: dict[str, Any] = {}
    inputs = Report.hashes(path)
    test = read_strip_test(path)
    base = film_of(film_path, defaults, inputs)
    fit, recovery = fit_strip(test), recovery_of(test)
    film = film_of_strip(test, fit, recovery, base, where=path.name)
    lines = strip_lines(test, fit, recovery)
    return Done(
        texts={".toml": film_toml(film)},
        report=Report(
            kind="strip",
            inputs=inputs,
            results=strip_results(test, fit, recovery, film),
            defaults=defaults | dict(test.defaults),
            warnings=(*strip_notes(test, fit, recovery, base), CAUTION),
        ),
        sentence=(
            f"“{film.name}”: modulus measured, stretch limit {100 * film.stretch_limit:g} % "
            f"{film.basis_of('stretch_limit')}."
        ),
        lines=lines,
    )
