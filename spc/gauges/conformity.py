"""Whether a part conforms when the measurement itself is uncertain: chances and decision zones."""

from __future__ import annotations

import math
from typing import Literal

from spc.capability.tolerance import check_limits
from spc.errors import SpcError

Zone = Literal["conforms", "does not conform", "cannot be told"]


def chance_conforms(
    value: float,
    uncertainty: float,
    lower: float | None,
    upper: float | None,
    *,
    process: tuple[float, float] | None = None,
) -> float:
    """Chance that the true value lies within the limits, given one measured value.

    Parameters
    ----------
    value : float
        Measured. [unit]
    uncertainty : float
        Standard, above 0. [unit]
    lower, upper : float or None
        Specification limits, at least one. [unit]
    process : (mean, sigma), optional
        Of the true values before this one was measured; they are taken as normal. Without it the measurement
        speaks alone. [unit]

    Returns
    -------
    float
        Between 0 and 1.

    Raises
    ------
    SpcError
        No limit, impossible limits, or an uncertainty or sigma that is not above 0.

    References
    ----------
    .. [1] JCGM 106:2012, 7.2 to 7.4 (normal), 6.2 (normal prior); from memory, its Zener diode is in the
       tests.
    """
    from scipy.special import ndtr

    _check(value, uncertainty, lower, upper)
    mean, sd = value, uncertainty
    if process is not None:
        centre, sigma = process
        if not (math.isfinite(centre) and math.isfinite(sigma) and sigma > 0):
            raise SpcError(f"a process is given by its mean and a sigma above 0; got {process}")
        weight = sigma**2 / (sigma**2 + uncertainty**2)
        mean, sd = weight * value + (1 - weight) * centre, math.sqrt(weight) * uncertainty
    above = 0.0 if lower is None else float(ndtr((lower - mean) / sd))
    below = 0.0 if upper is None else float(ndtr((mean - upper) / sd))
    return max(0.0, 1 - above - below)


def guard_factor(chance: float) -> float:
    """Standard uncertainties by which a value must lie inside a single limit to conform with a given chance.

    Parameters
    ----------
    chance : float
        Within 0.5 and 1.

    Returns
    -------
    float
        [-]

    Raises
    ------
    SpcError
        The chance is not within 0.5 and 1.

    References
    ----------
    .. [1] JCGM 106:2012, table 1 (from memory).
    """
    from scipy.special import ndtri

    if not 0.5 <= chance < 1:
        raise SpcError(f"the chance must lie within 0.5 and 1; got {chance}")
    return float(ndtri(chance))


def acceptance_limits(
    uncertainty: float, lower: float | None, upper: float | None, *, factor: float = 1.65
) -> tuple[float | None, float | None]:
    """Limits within which a measured value proves that the part conforms.

    Parameters
    ----------
    uncertainty : float
        Standard, above 0. [unit]
    lower, upper : float or None
        Specification limits, at least one. [unit]
    factor : float
        Standard uncertainties of the guard band: 1.65 in the 2017 edition, 2 in earlier ones.

    Returns
    -------
    lower, upper : float or None
        [unit]

    Raises
    ------
    SpcError
        No limit, impossible limits, an uncertainty not above 0, a factor below 0, or a guard band that leaves
        nothing between the limits.

    References
    ----------
    .. [1] ISO 14253-1, default decision rule (from memory).
    """
    _check(0.0, uncertainty, lower, upper)
    if not (math.isfinite(factor) and factor >= 0):
        raise SpcError(f"the guard band is 0 or more standard uncertainties wide; got {factor}")
    guard = factor * uncertainty
    if lower is not None and upper is not None and upper - lower < 2 * guard:
        raise SpcError(
            f"the guard bands of {guard:g} leave nothing of the tolerance of {upper - lower:g}: "
            "this gauge cannot prove that a part conforms"
        )
    return (None if lower is None else lower + guard, None if upper is None else upper - guard)


def decision_zone(
    value: float, uncertainty: float, lower: float | None, upper: float | None, *, factor: float = 1.65
) -> Zone:
    """What one measured value proves.

    Parameters
    ----------
    value : float
        Measured. [unit]
    uncertainty, lower, upper, factor
        As for `acceptance_limits`; a value on the border of a zone proves nothing against the part and
        something for it, as an acceptance zone holds its ends.

    Returns
    -------
    str
        ``"conforms"``, ``"does not conform"`` or ``"cannot be told"``.

    Raises
    ------
    SpcError
        As `acceptance_limits`, except that a guard band may leave nothing: then no value proves it.

    References
    ----------
    .. [1] ISO 14253-1 (from memory).
    """
    _check(value, uncertainty, lower, upper)
    if not (math.isfinite(factor) and factor >= 0):
        raise SpcError(f"the guard band is 0 or more standard uncertainties wide; got {factor}")
    # The border belongs to acceptance also when decimals have no exact binary form.
    guard = factor * uncertainty - 1e-9 * uncertainty
    room = min(math.inf if lower is None else value - lower, math.inf if upper is None else upper - value)
    if room >= guard:
        return "conforms"
    return "does not conform" if room < -guard else "cannot be told"


def _check(value: float, uncertainty: float, lower: float | None, upper: float | None) -> None:
    check_limits(lower, upper)
    if lower is None and upper is None:
        raise SpcError("a part conforms to a limit; give at least one")
    if not math.isfinite(value):
        raise SpcError(f"the measured value is {value}; it must be a number")
    if not (math.isfinite(uncertainty) and uncertainty > 0):
        raise SpcError(f"the standard uncertainty must be above 0; got {uncertainty}")
