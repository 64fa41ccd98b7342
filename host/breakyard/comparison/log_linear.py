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


def _weibull(z: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    # Smallest extreme value: ln f = z - exp(z), ln S = -exp(z).
    grown = np.exp(np.minimum(z, FARTHEST))
    return z - grown, 1.0 - grown, -grown, -grown, -grown, -grown


def _normal(z: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    from scipy import special

    # ln f = -z^2 / 2 - ln(2 pi) / 2, ln S = ln Phi(-z); (ln S)' = -h and (ln S)'' = -h (h - z) with the hazard
    # h = f / S, whose logarithm keeps it finite far out.
    held = special.log_ndtr(-z)
    hazard = np.exp(np.minimum(-0.5 * z * z - 0.5 * math.log(2.0 * math.pi) - held, FARTHEST))
    ones = np.ones_like(z)
    return (
        -0.5 * z * z - 0.5 * math.log(2.0 * math.pi),
        -z,
        -ones,
        held,
        -hazard,
        -hazard * (hazard - z),
    )


FAMILIES: Final[Mapping[Family, Callable[[Floats], tuple[Floats, ...]]]] = MappingProxyType(
    {"weibull": _weibull, "log-normal": _normal}
)
"""Of the standardised distance z: logarithm of the density with its two derivatives, and of the survival with its."""


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
    inverse, slope, height = _climb(design, y, broke, family, None, near)
    limit = unit / least_scale if least_scale > 0.0 else np.full(len(unit), np.inf)
    steep = (inverse > limit) | ~np.isfinite(inverse)
    if steep.any() and least_scale > 0.0:
        held = _climb(design, y[steep], broke[steep], family, limit[steep], near)
        inverse[steep], slope[steep], height[steep] = held
    inverse = np.maximum(inverse, 1e-300)
    return Fits(
        coefficients=np.asarray(start.T + unit[:, None] * slope / inverse[:, None]),
        scale=np.asarray(unit / inverse),
        height=np.asarray(height - broke.sum(axis=1) * np.log(unit)),
    )


def _climb(
    design: Floats, y: Floats, broke: NDArray[np.bool_], family: Family, inverse: Floats | None, near: float
) -> tuple[Floats, Floats, Floats]:
    """Newton's method from (w, g) = (1, 0); with `inverse` given, w is held there and only g is looked for."""
    # l(w, g) = sum over breaks of (ln f(z) + ln w) + sum over "at least" of ln S(z), with z = w y - X g. So
    # dl/dg = -X' u, dl/dw = y' u + r / w, and the Hessian has X' V X, -X' V y and y' V y - r / w^2, where u and V
    # hold the first and second derivatives of ln f or ln S, specimen by specimen; r counts the breaks.
    rows, columns = len(y), design.shape[1]
    failures = broke.sum(axis=1).astype(np.float64)
    functions = FAMILIES[family]
    free = inverse is None
    w = np.ones(rows) if inverse is None else inverse.copy()
    g = np.zeros((rows, columns))
    squares = (design[:, :, None] * design[:, None, :]).reshape(len(design), columns * columns)

    def look(w: Floats, g: Floats, at: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        z = np.clip(w[:, None] * y[at] - g @ design.T, -FARTHEST, FARTHEST)
        density, density1, density2, held, held1, held2 = functions(z)
        own = broke[at]
        value = np.where(own, density, held).sum(axis=1) + failures[at] * np.log(w)
        return value, np.where(own, density1, held1), np.where(own, density2, held2)

    going = np.arange(rows)
    value, first, second = look(w, g, going)
    for _ in range(MOST_STEPS):
        yy, ww = y[going], w[going]
        grad_g = -first @ design
        hess = np.empty((len(going), columns + free, columns + free))
        hess[:, :columns, :columns] = (second @ squares).reshape(-1, columns, columns)
        grad = grad_g
        if free:
            grad = np.concatenate(
                [grad_g, ((first * yy).sum(axis=1) + failures[going] / ww)[:, None]], axis=1
            )
            hess[:, columns, :columns] = hess[:, :columns, columns] = -(second * yy) @ design
            hess[:, columns, columns] = (second * yy * yy).sum(axis=1) - failures[going] / ww**2
        # A trace of the identity keeps a flat direction from stopping the others.
        hess -= (
            1e-12 * np.eye(columns + free) * np.maximum(np.abs(hess).max(axis=(1, 2)), 1e-300)[:, None, None]
        )
        step = np.linalg.solve(-hess, grad[:, :, None])[:, :, 0]
        rise = (step * grad).sum(axis=1)
        stay = rise > near * failures[going]
        if not stay.any():
            break
        going, step, value, ww = going[stay], step[stay], value[stay], ww[stay]
        share = np.ones(len(going))
        if free:
            # w must stay above nothing: at most nine tenths of the way there.
            down = -step[:, columns]
            share = np.where(down * share > 0.9 * ww, 0.9 * ww / np.maximum(down, 1e-300), share)
        gg = g[going]
        for _ in range(40):
            new_w = ww + share * step[:, columns] if free else ww
            new_g = gg + share[:, None] * step[:, :columns]
            new_value, first, second = look(new_w, new_g, going)
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
            going, value, first, second = going[keep], value[keep], first[keep], second[keep]
            if not len(going):
                break
    safe = np.where(np.isfinite(w), w, 1e8)
    height, _, _ = look(safe, g, np.arange(rows))
    return w, g, np.where(np.isfinite(w), height, np.inf)


def standard_errors(
    design: Floats,
    logs: Floats,
    broke: NDArray[np.bool_],
    family: Family,
    fits: Fits,
    contrasts: Floats,
) -> Floats:
    """Standard errors (rows, contrasts) of sums of coefficients, from the observed information.

    contrasts: (contrasts, columns). With z = (y - X b) / s, d the second derivative of the logarithm of the density
    (breaks) or of the survival ("at least") and r breaks, the information of (b, s) at the top of the likelihood is

        1/s^2 [ -X' d X   -X' d z ]        (Lawless, ch. 6.3)
              [ -z' d X   r - z' d z ]

    and the scale is taken with r - columns degrees of freedom instead of r, as least squares do: without "at least" and
    with normal logarithms these are the standard errors of least squares.
    """
    broke = np.broadcast_to(broke, logs.shape)
    scale = fits.scale[:, None]
    z = np.clip((logs - fits.coefficients @ design.T) / scale, -FARTHEST, FARTHEST)
    _, _, density2, _, _, held2 = FAMILIES[family](z)
    weight = -np.where(broke, density2, held2)
    columns = design.shape[1]
    squares = (design[:, :, None] * design[:, None, :]).reshape(len(design), columns * columns)
    inner = (weight @ squares).reshape(-1, columns, columns)
    across = (weight * z) @ design
    breaks = broke.sum(axis=1).astype(np.float64)
    corner = breaks + (weight * z * z).sum(axis=1)
    inner = inner - across[:, :, None] * across[:, None, :] / corner[:, None, None]
    # A trace of the identity keeps a level of which nothing broke in one row from stopping the others.
    inner = inner + 1e-12 * np.eye(columns) * np.abs(inner).max(axis=(1, 2))[:, None, None]
    solved = np.linalg.solve(inner, np.broadcast_to(contrasts.T, (len(logs), *contrasts.T.shape)))
    variance = np.einsum("ck,rkc->rc", contrasts, solved)
    freedom = np.maximum(breaks - columns, 1.0)
    return np.asarray(scale * np.sqrt(np.maximum(variance, 0.0) * (breaks / freedom)[:, None]))
