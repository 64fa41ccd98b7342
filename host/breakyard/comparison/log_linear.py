"""Log-linear strengths with one scatter: log(load) = X b + scale x e, "at least" values by their likelihood.

The standard model for few and partly censored strengths, there called accelerated failure times (Lawless, Statistical
Models and Methods for Lifetime Data, ch. 6; Kalbfleisch and Prentice 2002, 2.2): e is a smallest extreme value, which
makes the loads Weibull with one shape, 1 / scale, or normal, which makes them log-normal. X may be any design matrix of
full rank: a column of ones per group, levels of factors, blocks, covariates.

With w = 1 / scale and g = b w the log likelihood is concave for both (Burridge, J. R. Statist. Soc. B 43, 1981, 41),
so that Newton's method with halved steps finds its only maximum. All of it works on many rows of loads at once.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Family = Literal["weibull", "log-normal"]

MOST_STEPS: Final = 60
FARTHEST: Final = 600.0
"""Standardised distances are cut here, so that nothing overflows; the likelihood is nothing long before."""
NEAR: Final = 1e-11
"""Newton's method ends where a step would raise the log likelihood by less than this per break."""


def _weibull_density(z: Floats) -> tuple[Floats, Floats, Floats]:
    # Smallest extreme value: ln f = z - exp(z).
    grown = np.exp(np.minimum(z, FARTHEST))
    return z - grown, 1.0 - grown, -grown


def _weibull_survival(z: Floats) -> tuple[Floats, Floats, Floats]:
    # ln S = -exp(z)
    less = -np.exp(np.minimum(z, FARTHEST))
    return less, less, less


def _normal_density(z: Floats) -> tuple[Floats, Floats, Floats]:
    # ln f = -z^2 / 2 - ln(2 pi) / 2
    return -0.5 * z * z - 0.5 * math.log(2.0 * math.pi), -z, np.full_like(z, -1.0)


def _normal_survival(z: Floats) -> tuple[Floats, Floats, Floats]:
    from scipy import special

    # ln S = ln Phi(-z); (ln S)' = -h and (ln S)'' = -h (h - z) with the hazard h = f / S, whose logarithm keeps it
    # finite far out.
    held = special.log_ndtr(-z)
    hazard = np.exp(np.minimum(-0.5 * z * z - 0.5 * math.log(2.0 * math.pi) - held, FARTHEST))
    return held, -hazard, -hazard * (hazard - z)


@dataclass(frozen=True, slots=True)
class Curve:
    """A standard curve. Of the standardised distance z: logarithms with their first and second derivatives."""

    density: Callable[[Floats], tuple[Floats, Floats, Floats]]
    survival: Callable[[Floats], tuple[Floats, Floats, Floats]]
    mean: float
    sd: float


FAMILIES: Final[Mapping[Family, Curve]] = MappingProxyType(
    {
        "weibull": Curve(
            _weibull_density, _weibull_survival, mean=-float(np.euler_gamma), sd=math.pi / math.sqrt(6.0)
        ),
        "log-normal": Curve(_normal_density, _normal_survival, mean=0.0, sd=1.0),
    }
)


def _of_each(curve: Curve, z: Floats, broke: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Density of what broke and survival of the rest, with two derivatives; z and broke are (specimens, rows)."""
    found = curve.density(z)
    # What broke in every row needs no survival, which is the dear one.
    held = np.flatnonzero(~broke.all(axis=1))
    if len(held):
        own = broke[held]
        for of_all, of_held in zip(found, curve.survival(z[held]), strict=True):
            of_all[held] = np.where(own, of_all[held], of_held)
    return found


@dataclass(frozen=True, slots=True)
class Fits:
    """The likeliest coefficients, row by row of loads.

    `height` is the log likelihood of the logarithms of the loads (densities per unit of log load).
    """

    coefficients: Floats
    """(rows, columns of the design)"""
    scale: Floats
    """(rows,); nothing where the design fits every break exactly."""
    height: Floats
    """(rows,)"""


def fit_rows(
    design: Floats,
    logs: Floats,
    broke: NDArray[np.bool_],
    family: Family,
    *,
    least_scale: float = 0.0,
    near: float = NEAR,
) -> Fits:
    """Fit each row of `logs` (rows, specimens) with one `design` (specimens, columns).

    broke: which specimens broke, (specimens,) for all rows or (rows, specimens) for each.
    Every column must be borne by specimens that broke. least_scale: the scale is held at or above this. near: the climb
    ends where a step would raise the log likelihood by less than this per break.
    """
    # In units of the residuals of least squares, so that the start is near and no digits are lost.
    broke = np.broadcast_to(broke, logs.shape)
    # By QR: lstsq takes the singular values anew for each of many right sides, and is ten times slower.
    q, r = np.linalg.qr(design)
    start = np.linalg.solve(r, q.T @ logs.T)
    rest = logs - (design @ start).T
    unit = np.sqrt((rest * rest).mean(axis=1))
    size = np.maximum(np.abs(logs).max(axis=1), 1.0)
    exact = unit <= 1e-14 * size
    unit = np.where(exact, max(least_scale, 1e-9), unit)
    y = rest / unit[:, None]
    # What shifts every specimen alike, as far as the columns can.
    shift = np.linalg.solve(r, q.sum(axis=0))
    inverse, slope, height = _climb(design, y, broke, family, None, near, shift)
    limit = unit / least_scale if least_scale > 0.0 else np.full(len(unit), np.inf)
    steep = (inverse > limit) | ~np.isfinite(inverse)
    if steep.any() and least_scale > 0.0:
        held = _climb(design, y[steep], broke[steep], family, limit[steep], near, shift)
        inverse[steep], slope[steep], height[steep] = held
    inverse = np.maximum(inverse, 1e-300)
    return Fits(
        coefficients=np.asarray(start.T + unit[:, None] * slope / inverse[:, None]),
        scale=np.asarray(unit / inverse),
        height=np.asarray(height - broke.sum(axis=1) * np.log(unit)),
    )


def _climb(
    design: Floats,
    y: Floats,
    broke: NDArray[np.bool_],
    family: Family,
    inverse: Floats | None,
    near: float,
    shift: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Newton's method from standardised distances with the mean and scatter of the curve itself.

    With `inverse` given, w is held there and only g is looked for. shift: coefficients that move every row by 1.
    """
    # l(w, g) = sum over breaks of (ln f(z) + ln w) + sum over "at least" of ln S(z), with z = w y - X g. So
    # dl/dg = -X' u, dl/dw = y' u + r / w, and the Hessian has X' V X, -X' V y and y' V y - r / w^2, where u and V
    # hold the first and second derivatives of ln f or ln S, specimen by specimen; r counts the breaks.
    rows, columns = len(y), design.shape[1]
    curve = FAMILIES[family]
    free = inverse is None
    w = np.full(rows, curve.sd) if inverse is None else inverse.copy()
    g = np.tile(-curve.mean * shift, (rows, 1))
    squares = (design[:, :, None] * design[:, None, :]).reshape(len(design), columns * columns)

    def look(
        w: Floats, g: Floats, y: Floats, broke: NDArray[np.bool_], failures: Floats
    ) -> tuple[Floats, Floats, Floats]:
        z = np.clip(w * y - design @ g.T, -FARTHEST, FARTHEST)
        value, first, second = _of_each(curve, z, broke)
        return value.sum(axis=0) + failures * np.log(w), first, second

    # Specimens along the first axis from here: sums over them run along the rows, and are several times as fast.
    every_y, every_broke = np.ascontiguousarray(y.T), np.ascontiguousarray(broke.T)
    every_failures = every_broke.sum(axis=0).astype(np.float64)
    yy, own, failures = every_y, every_broke, every_failures
    going = np.arange(rows)
    value, first, second = look(w, g, yy, own, failures)
    for _ in range(MOST_STEPS):
        ww = w[going]
        hess = np.empty((len(going), columns + free, columns + free))
        grad = np.empty((len(going), columns + free))
        grad[:, :columns] = -(first.T @ design)
        hess[:, :columns, :columns] = (second.T @ squares).reshape(-1, columns, columns)
        if free:
            bent = second * yy
            grad[:, columns] = (first * yy).sum(axis=0) + failures / ww
            hess[:, columns, :columns] = hess[:, :columns, columns] = -(bent.T @ design)
            hess[:, columns, columns] = (bent * yy).sum(axis=0) - failures / ww**2
        # A trace of the identity keeps a flat direction from stopping the others.
        # (The largest entry of a negative definite matrix stands on its diagonal.)
        diagonal = np.einsum("rcc->cr", hess)
        diagonal -= 1e-12 * np.maximum(-diagonal.min(axis=0), 1e-300)
        step = np.linalg.solve(-hess, grad[:, :, None])[:, :, 0]
        rise = np.einsum("rc,rc->r", step, grad)
        stay = rise > near * failures
        if not stay.any():
            break
        if not stay.all():
            going, step, value, ww = going[stay], step[stay], value[stay], ww[stay]
            yy, own, failures = yy[:, stay], own[:, stay], failures[stay]
        share = np.ones(len(going))
        if free:
            # w must stay above nothing: at most nine tenths of the way there.
            down = -step[:, columns]
            share = np.where(down * share > 0.9 * ww, 0.9 * ww / np.maximum(down, 1e-300), share)
        gg = g[going]
        for _ in range(40):
            new_w = ww + share * step[:, columns] if free else ww
            new_g = gg + share[:, None] * step[:, :columns]
            new_value, first, second = look(new_w, new_g, yy, own, failures)
            worse = ~(new_value >= value - 1e-12 * (1.0 + np.abs(value)))
            if not worse.any():
                break
            share = np.where(worse, 0.5 * share, share)
        w[going], g[going], value = new_w, new_g, new_value
        if not free:
            continue
        # A scatter of nothing: w grows without end, and is left where it is.
        endless = new_w > 1e8
        if endless.any():
            w[going[endless]] = np.inf
            keep = ~endless
            going, value, first, second = going[keep], value[keep], first[:, keep], second[:, keep]
            yy, own, failures = yy[:, keep], own[:, keep], failures[keep]
            if not len(going):
                break
    safe = np.where(np.isfinite(w), w, 1e8)
    height, _, _ = look(safe, g, every_y, every_broke, every_failures)
    return w, g, np.where(np.isfinite(w), height, np.inf)


def covariances(design: Floats, logs: Floats, broke: NDArray[np.bool_], family: Family, fits: Fits) -> Floats:
    """Covariances (rows, columns, columns) of the coefficients, from the observed information.

    With z = (y - X b) / s, d the second derivative of the logarithm of the density
    (breaks) or of the survival ("at least") and r breaks, the information of (b, s) at the top of the likelihood is

        1/s^2 [ -X' d X   -X' d z ]        (Lawless, ch. 6.3)
              [ -z' d X   r - z' d z ]

    and the scale is taken with r - columns degrees of freedom instead of r, as least squares do: without "at least" and
    with normal logarithms these are the covariances of least squares.
    """
    own = np.broadcast_to(broke, logs.shape).T
    scale = fits.scale
    z = np.clip((logs.T - design @ fits.coefficients.T) / scale, -FARTHEST, FARTHEST)
    weight = -_of_each(FAMILIES[family], z, own)[2]
    columns = design.shape[1]
    squares = (design[:, :, None] * design[:, None, :]).reshape(len(design), columns * columns)
    inner = (weight.T @ squares).reshape(-1, columns, columns)
    across = (weight * z).T @ design
    breaks = own.sum(axis=0).astype(np.float64)
    corner = breaks + (weight * z * z).sum(axis=0)
    inner = inner - across[:, :, None] * across[:, None, :] / corner[:, None, None]
    # A trace of the identity keeps a level of which nothing broke in one row from stopping the others.
    inner = inner + 1e-12 * np.eye(columns) * np.abs(inner).max(axis=(1, 2))[:, None, None]
    freedom = np.maximum(breaks - columns, 1.0)
    return np.asarray(np.linalg.inv(inner) * (scale * scale * breaks / freedom)[:, None, None])


def standard_errors(of_coefficients: Floats, sums: Floats) -> Floats:
    """Standard errors (rows, sums) of sums of coefficients (sums, columns), from their `covariances`."""
    rows, columns, _ = of_coefficients.shape
    # c' V c is a sum of V over the products of the weights.
    products = (sums[:, :, None] * sums[:, None, :]).reshape(len(sums), columns * columns)
    variance = of_coefficients.reshape(rows, columns * columns) @ products.T
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
