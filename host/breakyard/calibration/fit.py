"""Weighted polynomial fits that keep their digits, and what they can tell.

Plan: the variable is centred and scaled to -1..1 before fitting, because powers of raw counts or
newtons lose half the digits (Pontius of NIST's StRD shows it). Weights are inverse variances. Where the
points scatter more than their own variances say (hysteresis, drift, handling), a common variance is
added until they agree (Paule and Mandel 1982, J. Res. NBS 87, 377), so that a quiet point cannot pull
the whole line to itself. Knows nothing of cells.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.errors import CalibrationError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PolynomialFit:
    """y = sum of coefficients[k] * z**k with z = (x - centre) / scale, for n points and p coefficients.

    `covariance` (p, p) is that of the scatter. `jacobian` (p, n) is what one unit more in each y does to
    the coefficients. `variances` (n,) are those used, `between` the standard deviation that had to be
    added to the points' own. All arrays are read-only.
    """

    centre: float
    scale: float
    coefficients: Floats
    covariance: Floats
    jacobian: Floats
    residuals: Floats
    variances: Floats
    between: float
    degrees_of_freedom: int

    @property
    def degree(self) -> int:
        """Of the polynomial."""
        return len(self.coefficients) - 1

    def basis(self, x: ArrayLike) -> Floats:
        """Rows of powers of z, shape (..., p)."""
        return powers(x, self.centre, self.scale, self.degree)

    def value(self, x: ArrayLike) -> Floats:
        """The polynomial at x."""
        return np.asarray(self.basis(x) @ self.coefficients, dtype=np.float64)

    def standard(self, x: ArrayLike) -> Floats:
        """Standard uncertainty of the polynomial at x, from the scatter alone."""
        rows = self.basis(x)
        return np.asarray(np.sqrt(np.einsum("...i,ij,...j", rows, self.covariance, rows)), dtype=np.float64)

    @property
    def residual_standard(self) -> float:
        """sqrt(sum of squared residuals / degrees of freedom): E74's s_m when unweighted."""
        if self.degrees_of_freedom == 0:
            return math.nan
        return math.sqrt(float(self.residuals @ self.residuals) / self.degrees_of_freedom)

    @cached_property
    def raw(self) -> tuple[Floats, Floats]:
        """Coefficients and covariance in powers of x itself, for comparison with published fits."""
        p = len(self.coefficients)
        change = np.zeros((p, p))
        for k in range(p):
            for j in range(k + 1):
                change[j, k] = math.comb(k, j) * (-self.centre) ** (k - j) / self.scale**k
        return change @ self.coefficients, change @ self.covariance @ change.T


def powers(x: ArrayLike, centre: float, scale: float, degree: int) -> Floats:
    """1, z, z**2 ... with z = (x - centre) / scale; shape (..., degree + 1)."""
    z = (np.asarray(x, dtype=np.float64) - centre) / scale
    return np.stack([z**k for k in range(degree + 1)], axis=-1)


def fit_polynomial(
    x: ArrayLike, y: ArrayLike, degree: int, standard: ArrayLike | None = None
) -> PolynomialFit:
    """Fit by least squares; `standard` (n,) are the points' own standard uncertainties in units of y.

    Without them all points weigh the same and the scatter gives the variance.
    Raises: CalibrationError when the points cannot carry the degree.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    p, n = degree + 1, len(x)
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise CalibrationError("a calibration point is not a number")
    if len(np.unique(x)) < p or n < p:
        raise CalibrationError(
            f"{n} points at {len(np.unique(x))} different readings cannot carry a polynomial of degree {degree}: "
            f"at least {p} different ones are needed"
        )
    centre, scale = (float(x.min()) + float(x.max())) / 2.0, (float(x.max()) - float(x.min())) / 2.0
    rows = powers(x, centre, scale, degree)
    own = np.zeros(n) if standard is None else np.asarray(standard, dtype=np.float64) ** 2
    equal = standard is None or not np.any(own > 0.0)
    if equal:
        coefficients, jacobian = _solve(rows, y, np.ones(n))
        residuals = y - rows @ coefficients
        spread = float(residuals @ residuals) / (n - p) if n > p else 0.0
        variances, between = np.full(n, spread), math.sqrt(spread)
    else:
        between = _between(rows, y, own)
        variances = np.maximum(own + between**2, _smallest(own))
        coefficients, jacobian = _solve(rows, y, variances)
        residuals = y - rows @ coefficients
    covariance = (jacobian * variances) @ jacobian.T
    for array in (coefficients, covariance, jacobian, residuals, variances):
        array.setflags(write=False)
    return PolynomialFit(
        centre, scale, coefficients, covariance, jacobian, residuals, variances, between, n - p
    )


def _solve(rows: Floats, y: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Coefficients (p,) and their jacobian (p, n) for the weighted problem, by a QR decomposition."""
    # With W = diag(1 / u^2) and W^(1/2) X = Q R the normal equations X' W X b = X' W y become R b = Q' W^(1/2) y, which
    # squares no condition number (Golub and Van Loan, Matrix Computations, 5.3). So db/dy = R^-1 Q' W^(1/2).
    weights = 1.0 / np.sqrt(variances)
    orthogonal, upper = np.linalg.qr(rows * weights[:, None])
    jacobian = np.linalg.solve(upper, orthogonal.T) * weights
    coefficients = np.linalg.solve(upper, orthogonal.T @ (weights * y))
    return coefficients, jacobian


def _smallest(own: Floats) -> float:
    """A floor for variances, so that a point stated without any doubt does not weigh infinitely."""
    return 1e-6 * float(np.max(own))


def _between(rows: Floats, y: Floats, own: Floats) -> float:
    """The Paule-Mandel standard deviation: weighted residual sum of squares = degrees of freedom."""
    # s^2 solves F(s^2) = sum r_i^2 / (u_i^2 + s^2) - (n - p) = 0, r the residuals of the fit with just these weights
    # (Paule and Mandel, J. Res. NBS 87, 1982, 377); dF/d(s^2) = -sum r_i^2 / (u_i^2 + s^2)^2.
    n, p = rows.shape
    if n <= p:
        return 0.0
    smallest = _smallest(own)
    extra = 0.0
    # The excess falls and flattens with the added variance, so Newton's steps from nothing never overshoot.
    for _ in range(100):
        weights = 1.0 / np.maximum(own + extra, smallest)
        roots = np.sqrt(weights)
        orthogonal, _ = np.linalg.qr(rows * roots[:, None])
        scaled = roots * y
        left = scaled - orthogonal @ (orthogonal.T @ scaled)
        excess = float(left @ left) - (n - p)
        if excess <= 1e-10 * (n - p):
            break
        extra += excess / float((weights * left) @ left)
    return math.sqrt(extra)
