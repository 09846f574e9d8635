"""Control limits that were agreed on: which baseline, which version, when and by whom. Nothing moves them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.charts.classical import Panel, make_panel
from spc.errors import SpcError
from spc.shown import Shown
from spc.variation import finite_series


@dataclass(frozen=True)
class FrozenLimits(Shown):
    """Control limits that were agreed on and do not move by themselves.

    Attributes
    ----------
    chart : str
        What they limit, as `Panel.name`.
    center, lower, upper : float
        [unit of the readings]
    sigma : float
        Of the charted statistic's own scale. [unit]
    baseline : str
        Which parts they were learned from, in words a person can check.
    baseline_size : int
        How many.
    version : int
        1 and up.
    fixed_on : str
        Day, as year-month-day text.
    fixed_by : str
    """

    chart: str
    center: float
    lower: float
    upper: float
    sigma: float
    baseline: str
    baseline_size: int
    version: int
    fixed_on: str
    fixed_by: str

    def judge(self, values: ArrayLike) -> Panel:
        """New values against these limits.

        Parameters
        ----------
        values : array-like, shape (n,)
            [unit of the limits]

        Returns
        -------
        Panel

        Raises
        ------
        SpcError
            A value is not finite.
        """
        x = finite_series(values, f"the {self.chart} chart", 1)
        return make_panel(self.chart, x, self.center, self.lower, self.upper)


def freeze(
    panel: Panel, sigma: float, *, baseline: str, version: int, fixed_on: str, fixed_by: str
) -> FrozenLimits:
    """Fix the limits of a panel for later parts.

    Parameters
    ----------
    panel : Panel
        With the same limits at every point.
    sigma : float
        [unit]
    baseline : str
        Which parts the limits were learned from.
    version : int
        1 and up.
    fixed_on : str
        Day, as year-month-day text.
    fixed_by : str

    Returns
    -------
    FrozenLimits

    Raises
    ------
    SpcError
        The limits differ from point to point, or the version is below 1.
    """
    if np.ptp(panel.lower) > 0 or np.ptp(panel.upper) > 0:
        raise SpcError(
            f"the limits of the {panel.name} chart differ from point to point and cannot be frozen as one"
        )
    if version < 1:
        raise SpcError(f"versions of limits count from 1; got {version}")
    return FrozenLimits(
        chart=panel.name,
        center=panel.center,
        lower=float(panel.lower[0]),
        upper=float(panel.upper[0]),
        sigma=sigma,
        baseline=baseline,
        baseline_size=int(panel.values.size),
        version=version,
        fixed_on=fixed_on,
        fixed_by=fixed_by,
    )
