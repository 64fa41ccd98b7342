"""One family fitted to a design, and what its statistics would be by chance.

With complete log-normal loads the laws are known: Student's t, F, and for many ratios together the multivariate t
(Hothorn, Bretz and Westfall, Biometrical J. 50, 2008, 346). Elsewhere they are simulated from the fit itself
(parametric bootstrap of the studentized statistic; Davison and Hinkley, Bootstrap Methods, 1997, 5.2 and 4.2.5): for
complete Weibull loads that is exact but for the number of draws, since the statistics do not depend on what was fitted.
A specimen known to hold a bound keeps that bound in every simulated campaign; the others are pulled until they break.
"""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.log_linear import Family, Fits, Floats, covariances, fit_rows, standard_errors

SEED: Final = 20261128
DRAWS: Final = 4000
DRAWS_EXACT: Final = 40_000
DRAWS_TEST: Final = 1000
ROUGHLY: Final = 1e-7
"""How near its top a simulated likelihood is climbed, per break."""


@dataclass(frozen=True, eq=False)
class Campaign:
    """All loads with the columns that they may depend on, fitted with one family."""

    matrix: Floats
    """(specimens, columns), of full rank."""
    logs: Floats
    broke: NDArray[np.bool_]
    family: Family
    least_scale: float = 0.0

    @cached_property
    def fit(self) -> Fits:
        """The likeliest coefficients."""
        return fit_rows(
            self.matrix, self.logs[None, :], self.broke, self.family, least_scale=self.least_scale
        )

    @cached_property
    def covariances(self) -> Floats:
        """Of the coefficients, (1, columns, columns)."""
        return covariances(self.matrix, self.logs[None, :], self.broke, self.family, self.fit)

    @property
    def breaks(self) -> int:
        """Specimens that broke."""
        return int(np.count_nonzero(self.broke))

    @property
    def freedom(self) -> int:
        """Breaks less columns."""
        return self.breaks - int(self.matrix.shape[1])

    @property
    def scale(self) -> float:
        """Scale of the logarithms, with the degrees of freedom that the columns leave."""
        return float(self.fit.scale[0]) * math.sqrt(self.breaks / max(self.freedom, 1))

    @property
    def exact(self) -> bool:
        """Whether the laws are known without simulation."""
        return self.family == "log-normal" and bool(self.broke.all())

    def estimates(self, sums: Floats, middle: float = 0.0) -> tuple[Floats, Floats]:
        """Sums of coefficients (sums, columns), `middle` scales above each, and their standard errors."""
        errors = standard_errors(self.covariances, sums)[0]
        return sums @ self.fit.coefficients[0] + middle * float(self.fit.scale[0]), errors

    def law(self, sums: Floats, middle: float = 0.0) -> Floats:
        """(draws, sums) of (estimate - truth) / standard error, all sums in one draw from one campaign."""
        if self.exact:
            return self._multivariate_t(sums, np.random.default_rng(SEED))
        fits, simulated = self._simulated
        errors = standard_errors(simulated, sums)
        if self.broke.all():
            truth = np.full(len(sums), middle)
        else:
            truth = sums @ self.fit.coefficients[0] + middle * self.scale
        seen = fits.coefficients @ sums.T + middle * fits.scale[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            drawn = (seen - truth) / errors
        return np.asarray(drawn[np.isfinite(drawn).all(axis=1)])

    @cached_property
    def _simulated(self) -> tuple[Fits, Floats]:
        """Fits of campaigns drawn from the fit, and the covariances of their coefficients."""
        if self.broke.all():
            return _standard_fits(self.family, *_as_key(self.matrix))
        base = self.matrix @ self.fit.coefficients[0]
        logs, broke = self._drawn(base, self.scale, DRAWS, np.random.default_rng(SEED))
        return _fits_of(self.matrix, logs, broke, self.family)

    def _multivariate_t(self, sums: Floats, generator: np.random.Generator) -> Floats:
        inner = np.linalg.inv(self.matrix.T @ self.matrix)
        root = np.linalg.cholesky(inner)
        normal = generator.standard_normal((DRAWS_EXACT, len(inner))) @ root.T @ sums.T
        normal /= np.sqrt(np.einsum("cj,jk,ck->c", sums, inner, sums))
        spread = np.sqrt(generator.chisquare(self.freedom, DRAWS_EXACT) / self.freedom)
        return np.asarray(normal / spread[:, None])

    def _drawn(
        self, base: Floats, scale: float, draws: int, generator: np.random.Generator
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Logs and which broke of simulated campaigns, (draws, specimens)."""
        logs = base + scale * _noise(self.family, (draws, len(base)), generator)
        bounds = np.where(self.broke, np.inf, self.logs)
        return np.minimum(logs, bounds), logs < bounds

    def without(self, columns: list[int]) -> "Campaign":
        """The same loads with some columns taken out."""
        return Campaign(
            np.delete(self.matrix, columns, axis=1), self.logs, self.broke, self.family, self.least_scale
        )

    def test(self, columns: list[int]) -> tuple[float, float]:
        """F and probability of what these columns explain beyond the others.

        F = v / q (exp(L / r) - 1) of the likelihood ratio L, r breaks, v degrees of freedom and q columns: for complete
        log-normal loads the F of the analysis of variance, elsewhere held against its simulated law.
        """
        from scipy import special

        less = self.without(columns)
        ratio = max(2.0 * float(self.fit.height[0] - less.fit.height[0]), 0.0)
        factor, q = self.freedom / len(columns), len(columns)
        f = factor * math.expm1(min(ratio / self.breaks, 600.0))
        if self.exact:
            return f, float(special.fdtrc(q, self.freedom, f))
        if self.broke.all():
            by_chance = _standard_ratios(self.family, tuple(columns), *_as_key(self.matrix))
        else:
            base, scale = less.matrix @ less.fit.coefficients[0], less.scale
            logs, broke = self._drawn(base, scale, DRAWS_TEST, np.random.default_rng(SEED + 1))
            by_chance = _ratios_of(self.matrix, less.matrix, logs, broke, self.family)
        above = int(np.sum(by_chance >= ratio / self.breaks))
        return f, (1 + above) / (1 + len(by_chance))


def _noise(family: Family, size: tuple[int, int], generator: np.random.Generator) -> Floats:
    if family == "weibull":
        return np.log(generator.exponential(size=size))
    return generator.standard_normal(size)


def _fits_of(matrix: Floats, logs: Floats, broke: NDArray[np.bool_], family: Family) -> tuple[Fits, Floats]:
    fits = fit_rows(matrix, logs, broke, family, near=ROUGHLY)
    return fits, covariances(matrix, logs, broke, family, fits)


def _ratios_of(
    matrix: Floats, less: Floats, logs: Floats, broke: NDArray[np.bool_], family: Family
) -> Floats:
    """Likelihood ratio of each row per break; without those that do not end."""
    top = fit_rows(matrix, logs, broke, family, near=ROUGHLY).height
    tied = fit_rows(less, logs, broke, family, near=ROUGHLY).height
    ratios = 2.0 * (top - tied) / broke.sum(axis=1)
    return np.asarray(ratios[np.isfinite(ratios)])


def _as_key(matrix: Floats) -> tuple[bytes, tuple[int, int]]:
    whole = np.ascontiguousarray(matrix)
    return whole.tobytes(), (whole.shape[0], whole.shape[1])


# Where everything broke, the statistics are the same for every level and scatter (they are equivariant; Lawless,
# ch. 5.1 and 6.3), so that one law, simulated at level 0 with scale 1, serves every campaign of the same design.
@lru_cache(maxsize=32)
def _standard_fits(family: Family, matrix: bytes, shape: tuple[int, int]) -> tuple[Fits, Floats]:
    columns = np.frombuffer(matrix).reshape(shape)
    logs = _noise(family, (DRAWS, shape[0]), np.random.default_rng(SEED))
    return _fits_of(columns, logs, np.ones(shape[0], dtype=np.bool_), family)


@lru_cache(maxsize=64)
def _standard_ratios(
    family: Family, without: tuple[int, ...], matrix: bytes, shape: tuple[int, int]
) -> Floats:
    columns = np.frombuffer(matrix).reshape(shape)
    logs = _noise(family, (DRAWS_TEST, shape[0]), np.random.default_rng(SEED + 1))
    broke = np.ones(logs.shape, dtype=np.bool_)
    return _ratios_of(columns, np.delete(columns, without, axis=1), logs, broke, family)


@dataclass(frozen=True)
class Together:
    """What the largest of several statistics would be by chance: one law for a test and its intervals."""

    largest: Floats
    """Sorted largest |t| of each draw."""
    many: int
    freedom: int
    exact: bool

    @classmethod
    def of(cls, law: Floats, campaign: Campaign) -> "Together":
        """Of some columns of a campaign's law."""
        return cls(np.sort(np.abs(law).max(axis=1)), law.shape[1], campaign.freedom, campaign.exact)

    def limit(self, coverage: float) -> float:
        """Standard errors that an interval reaches out so that all hold together; Student's t for one alone."""
        from scipy import special

        if self.exact and self.many == 1:
            return float(special.stdtrit(self.freedom, 0.5 + coverage / 2.0))
        return float(np.quantile(self.largest, coverage))

    def probability(self, t: float) -> float:
        """The chance that any is so large; below the risk where `limit` is passed."""
        from scipy import special

        draws = len(self.largest)
        p = 1.0 - float(np.interp(abs(t), self.largest, np.linspace(0.0, 1.0, draws)))
        if self.exact:
            alone = 2.0 * float(special.stdtr(self.freedom, -abs(t)))
            if self.many == 1:
                return alone
            if p < 20.0 / draws:  # too far out for the draws: all of them apart (Bonferroni), never too small
                return min(self.many * alone, 20.0 / draws)
            return p
        return max(p, 1.0 / draws)
