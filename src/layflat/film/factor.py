"""Symmetric positive definite sparse systems, factored once and solved often."""

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from layflat.base import FloatArray
from layflat.film.frames import ComplexArray


class Factor:
    """The factored form of a symmetric positive definite matrix."""

    def __init__(self, matrix: sp.csc_array) -> None:
        # Minimum degree on the symmetric pattern, pivots on the diagonal: half the fill and
        # half the time of scipy's default ordering, which is made for unsymmetric matrices.
        self._factor = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.001,
            options={"SymmetricMode": True},
        )

    def solve(self, right: NDArray[np.floating]) -> FloatArray:
        """The solution for a real right side (n,) or (n, k)."""
        return np.asarray(self._factor.solve(right))

    def solve_complex(self, right: ComplexArray) -> ComplexArray:
        """The solution for a complex right side (n,)."""
        both = self._factor.solve(np.column_stack((right.real, right.imag)))
        return np.asarray(both[:, 0] + 1j * both[:, 1])


class PinnedFactor:
    """The inverse of a Laplacian on functions of zero sum.

    A Laplacian leaves constants undetermined. One vertex is pinned to make it definite; for a
    right side of zero sum the solution is exact all the same, up to a constant, which is chosen
    so that the solution has zero mean.
    """

    def __init__(self, laplacian: sp.csc_array) -> None:
        self._factor = Factor(laplacian[1:, 1:].tocsc())

    def solve(self, right: ComplexArray) -> ComplexArray:
        """The solution for a complex right side (n,) of zero sum."""
        solution = np.zeros_like(right)
        solution[1:] = self._factor.solve_complex(right[1:])
        return np.asarray(solution - solution.mean())
