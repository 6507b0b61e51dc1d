"""What a quote comes to in home money, at the door.

Rates are fractions of dated data in the case. No threshold is applied here: whether a consignment
is small enough to be let off duty or tax is for the caller, who then gives a rate of 0.
"""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def import_charges(
    goods: ArrayLike, carriage: ArrayLike, insurance: ArrayLike, duty_rate: ArrayLike, vat_rate: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Duty and VAT on imported goods, line by line.

    Parameters
    ----------
    goods : float or array
        Price of the goods, free of the supplier's own VAT [home money].
    carriage : float or array
        Carriage falling to them [home money].
    insurance : float or array
        Insurance falling to them [home money].
    duty_rate : float or array
        Rate of duty [-].
    vat_rate : float or array
        Rate of VAT at home [-].

    Returns
    -------
    duty : float or array
        Duty [home money].
    value_for_vat : float or array
        What the VAT is taken on [home money].
    vat : float or array
        VAT [home money].

    Notes
    -----
    Duty is on goods, carriage and insurance; VAT on the same and the duty. A carrier's handling fee
    comes after both. ValueError for a rate outside 0..1.

    References
    ----------
    Revenue (Ireland), "How to calculate duty and VAT on goods from outside the EU", example under
    "Standard rate of duty, plus VAT" (goods only).

    Examples
    --------
    >>> duty, _, vat = import_charges([500.0, 600.0], 0.0, 0.0, [0.0, 0.025], 0.23)
    >>> float(duty.sum()), round(float(vat.sum()), 2)
    (15.0, 256.45)
    """
    _check_rates(duty_rate, vat_rate)
    value = np.asarray(goods, dtype=float) + np.asarray(carriage, dtype=float)
    value = value + np.asarray(insurance, dtype=float)
    duty = value * np.asarray(duty_rate, dtype=float)
    value_for_vat = value + duty
    vat = value_for_vat * np.asarray(vat_rate, dtype=float)
    return duty[()], value_for_vat[()], vat[()]


@overload
def packs_needed(quantity: int, pack: int) -> int: ...
@overload
def packs_needed(quantity: NDArray[np.int64], pack: int) -> NDArray[np.int64]: ...
def packs_needed(quantity: int | NDArray[np.int64], pack: int) -> int | NDArray[np.int64]:
    """Whole packs to buy.

    Parameters
    ----------
    quantity : int or array of int
        Pieces needed [pieces].
    pack : int
        Pieces in a pack [pieces].

    Returns
    -------
    int or array of int
        Packs [packs]; none for no pieces.

    Notes
    -----
    A pack cannot be broken: the quotient is rounded up. ValueError for a pack of less than one or
    fewer than no pieces.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> packs_needed(5, 2)
    3
    """
    if pack < 1:
        raise ValueError(f"a pack holds at least 1 piece, not {pack}")
    if np.any(np.less(quantity, 0)):
        raise ValueError("give a quantity of 0 or more pieces")
    return -(-quantity // pack)


def _check_rates(*rates: ArrayLike) -> None:
    for rate in rates:
        values = np.asarray(rate, dtype=float)
        if np.any(values > 1.0):
            raise ValueError(f"a rate of {float(values.max())} is above 1: give 0.20 for 20 %")
        if not np.all(values >= 0.0):
            raise ValueError(f"a rate must lie in 0..1, not {float(values.min())}: give 0.20 for 20 %")
