"""Lengths at 20 degC from readings at another temperature, with the uncertainty that adds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spc.errors import SpcError

REFERENCE = 20.0
"""Temperature at which lengths of workpieces are stated (ISO 1). [degC]"""


@dataclass(frozen=True)
class Temperature:
    """A body that grows with its temperature.

    Attributes
    ----------
    degrees : float
        [degC]
    coefficient : float
        Linear expansion; grey iron about 10.5e-6, aluminium 23e-6, steel 11.5e-6. [1/K]
    degrees_uncertainty, coefficient_uncertainty : float
        Standard uncertainties. [K], [1/K]
    """

    degrees: float
    coefficient: float
    degrees_uncertainty: float = 0.0
    coefficient_uncertainty: float = 0.0


@dataclass(frozen=True)
class LengthAtReference:
    """A length at 20 degC.

    Attributes
    ----------
    length, correction : float
        Corrected length, and corrected less read. [unit of the reading]
    uncertainty : float
        Combined standard uncertainty. [unit]
    contributions : dict of float
        Of the reading, and of temperature and coefficient of part and gauge. [unit]
    """

    length: float
    correction: float
    uncertainty: float
    contributions: dict[str, float]


def at_reference(
    reading: float,
    part: Temperature,
    gauge: Temperature | None = None,
    *,
    reading_uncertainty: float = 0.0,
) -> LengthAtReference:
    """Length at 20 degC of a part read at another temperature.

    A gauge that is warm itself reads short; without one the scale is taken to be at 20 degC. A gauge set on a
    master of the part's own size at the same temperature is described by the master.

    Parameters
    ----------
    reading : float
        The whole length, not a deviation. [any length unit]
    part, gauge : Temperature
    reading_uncertainty : float
        Standard. [unit]

    Returns
    -------
    LengthAtReference

    Raises
    ------
    SpcError
        A value is not a number, an uncertainty is below 0, or a coefficient is not below 1e-3 / K.

    References
    ----------
    .. [1] ISO 1 (reference temperature); uncertainty by the law of propagation, inputs taken as independent:
       JCGM 100:2008 (GUM), 5.1.2; its example H.1 and one of NPL are in the tests (from memory and read).
    """
    other = gauge or Temperature(REFERENCE, 0.0)
    for body in (part, other):
        values = (
            body.degrees, body.coefficient, body.degrees_uncertainty, body.coefficient_uncertainty, reading,
            reading_uncertainty,
        )  # fmt: skip
        if not all(math.isfinite(value) for value in values):
            raise SpcError("temperatures, coefficients, lengths and uncertainties must be numbers")
        if min(body.degrees_uncertainty, body.coefficient_uncertainty, reading_uncertainty) < 0:
            raise SpcError("an uncertainty is 0 or above")
        if not abs(body.coefficient) < 1e-3:
            raise SpcError(
                f"an expansion coefficient of {body.coefficient:g} per K is none of a metal; "
                "it is about 1e-5 and counts per kelvin, not in millionths"
            )
    warm, scale = part.degrees - REFERENCE, other.degrees - REFERENCE
    grown, stretched = 1 + part.coefficient * warm, 1 + other.coefficient * scale
    length = reading * stretched / grown
    size = abs(reading)
    contributions = {
        "reading": reading_uncertainty * stretched / grown,
        "part temperature": size * stretched * abs(part.coefficient) / grown**2 * part.degrees_uncertainty,
        "part coefficient": size * stretched * abs(warm) / grown**2 * part.coefficient_uncertainty,
        "gauge temperature": size * abs(other.coefficient) / grown * other.degrees_uncertainty,
        "gauge coefficient": size * abs(scale) / grown * other.coefficient_uncertainty,
    }
    return LengthAtReference(length, length - reading, math.hypot(*contributions.values()), contributions)
