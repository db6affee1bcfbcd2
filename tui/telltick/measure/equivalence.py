"""Are two values different, or are they the same within a bound? And what of it when many are compared.

A difference that is not seen is not thereby shown to be absent. Two one-sided tests do that: they refuse both
"it fell by the bound or more" and "it rose by the bound or more" (Schuirmann, J. Pharmacokin. Biopharm. 15,
1987). Spreads are not taken to be equal (Welch, Biometrika 34, 1947; degrees of freedom after
Satterthwaite, Biometrics Bull. 2, 1946).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telltick.measure.robust import student_t
from telltick.model.readings import Estimate


@dataclass(frozen=True, slots=True)
class Mean:
    """A value whose error is known from as many pieces of data as its degrees of freedom tell.

    Attributes:
        value: the value.
        error: its standard error.
        dof: degrees of freedom of the error.
        common: the error rests on one estimate for all that are marked so: two of them know no more of it.
    """

    value: float
    error: float
    dof: float
    common: bool = False

    def interval(self, share: float = 0.95) -> Estimate:
        """The value with its two-sided interval."""
        half = student_t((1 + share) / 2, self.dof) * self.error
        return Estimate(self.value, self.value - half, self.value + half)

    def __sub__(self, other: Mean) -> Mean:
        """The difference, errors unequal (Welch)."""
        return self.less(other, 1.0)

    def less(self, other: Mean, times: float) -> Mean:
        """This less so many times the other."""
        variances = (self.error**2, (times * other.error) ** 2)
        common = self.common and other.common
        dof = min(self.dof, other.dof) if common else _welch_dof(variances, (self.dof, other.dof))
        return Mean(self.value - times * other.value, float(np.sqrt(sum(variances))), dof, common)

    def widened(self, error: float, dof: float) -> Mean:
        """The same with another, independent error in it."""
        if error <= 0:
            return self
        both = _welch_dof((self.error**2, error**2), (self.dof, dof))
        return Mean(self.value, float(np.hypot(self.error, error)), both, self.common)


def _welch_dof(variances: Sequence[float], dofs: Sequence[float]) -> float:
    parts = sum(v**2 / d for v, d in zip(variances, dofs, strict=True))
    return float(sum(variances) ** 2 / parts) if parts > 0 else float(min(dofs))


def p_below(mean: Mean, bound: float) -> float:
    """One-sided p-value of "at or above the bound", refused by values far below it."""
    from scipy.special import stdtr

    if mean.error <= 0 or not np.isfinite(mean.error):
        return float(mean.value >= bound)
    return float(stdtr(mean.dof, (mean.value - bound) / mean.error))


def p_above(mean: Mean, bound: float) -> float:
    """One-sided p-value of "at or below the bound"."""
    return p_below(Mean(-mean.value, mean.error, mean.dof), -bound)


def p_differs(difference: Mean, bound: float = 0.0) -> float:
    """Two-sided p-value of "no further from zero than the bound"."""
    away = min(p_above(difference, bound), p_below(difference, -bound))
    return min(1.0, 2 * away)


def p_within(difference: Mean, bound: float) -> float:
    """Two one-sided tests: p-value of "as far from zero as the bound, or farther"."""
    return max(p_below(difference, bound), p_above(difference, -bound))


def p_unequal(means: Sequence[Mean]) -> float:
    """P-value of "all of them are the same", spreads unequal (Welch, Biometrika 38, 1951); 1 for one."""
    count = len(means)
    if count < 2:
        return 1.0
    from scipy.special import fdtrc

    weight = np.array([1 / max(one.error, 1e-12) ** 2 for one in means])
    value = np.array([one.value for one in means])
    dof = np.array([one.dof for one in means])
    share = weight / weight.sum()
    between = float(np.sum(weight * (value - np.sum(share * value)) ** 2)) / (count - 1)
    unsure = float(np.sum((1 - share) ** 2 / dof)) / (count**2 - 1)
    return float(fdtrc(count - 1, 1 / (3 * unsure), between / (1 + 2 * (count - 2) * unsure)))


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """P-values corrected for their number (Holm, Scand. J. Stat. 6, 1979).

    The chance of any false alarm among all of them stays at the level, whatever ties them together.
    """
    p = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    steps = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    out = np.empty(len(p))
    out[order] = np.minimum(steps, 1.0)
    return tuple(out.tolist())


def ratio_interval(after: Mean, before: Mean, share: float = 0.95) -> tuple[float, float] | None:
    """Ends of the two-sided interval for after / before (Fieller, J. R. Stat. Soc. B 16, 1954).

    The lower end is 0 where `after` cannot be told from nothing; None where `before` cannot: then any ratio
    is possible.
    """
    at = max(after.value, 0.0) / before.value if before.value > 0 else 1.0
    t = student_t((1 + share) / 2, after.less(before, at).dof)
    a = before.value**2 - (t * before.error) ** 2
    c = after.value**2 - (t * after.error) ** 2
    if before.value <= 0 or a <= 0:
        return None
    b = after.value * before.value
    root = float(np.sqrt(max(b**2 - a * c, 0.0)))
    return max((b - root) / a, 0.0), max((b + root) / a, 0.0)
