"""What a quote comes to in home money, at the door.

Rates are fractions of dated data in the case. No threshold is applied here: whether a consignment
is small enough to be let off duty or tax is for the caller, who then gives a rate of 0.
"""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def landed_factor(
    exchange: float,
    vat_included: bool,
    vat_rate: float,
    home_vat_rate: float,
    imported: bool,
    duty_rate: float,
) -> float:
    """Home money paid for each unit of the supplier's money quoted.

    Parameters
    ----------
    exchange : float
        Home money for one of the supplier's [home money / supplier's money].
    vat_included : bool
        Whether the quoted figure contains the supplier's VAT.
    vat_rate : float
        The supplier's VAT rate [-].
    home_vat_rate : float
        VAT rate at home [-]; used only when imported.
    imported : bool
        Whether the goods cross a customs border.
    duty_rate : float
        Rate of duty [-]; used only when imported.

    Returns
    -------
    float
        Factor on goods and on carriage alike [home money / supplier's money].

    Notes
    -----
    Inside the tax area ``exchange`` when VAT is in, ``exchange (1 + vat_rate)`` when it is not.
    Imported: the supplier's own VAT is taken off first if it is in, because an export is sold free
    of it (a supplier who keeps it has to be quoted as ex VAT); then ``exchange (1 + duty_rate)
    (1 + home_vat_rate)``, since duty is on goods and carriage, and VAT on these and the duty. A
    handling fee comes after and is not in the factor. ValueError for a rate outside 0..1.

    References
    ----------
    Regulation (EU) No 952/2013, articles 70 and 71 (duty value with carriage and insurance);
    Directive 2006/112/EC, articles 85, 86 and 146 (VAT value with duty and carriage; exports free);
    the article numbers from memory.

    Examples
    --------
    >>> round(landed_factor(1.0, False, 0.23, 0.23, True, 0.025), 5)
    1.26075
    """
    _check_rates(vat_rate, home_vat_rate, duty_rate)
    if not exchange > 0.0:
        raise ValueError(f"exchange must be above 0 (home money for one of theirs), not {exchange}")
    if not imported:
        return exchange if vat_included else exchange * (1.0 + vat_rate)
    net = 1.0 / (1.0 + vat_rate) if vat_included else 1.0
    return exchange * net * (1.0 + duty_rate) * (1.0 + home_vat_rate)


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


def ex_to_in(price: ArrayLike, vat_rate: ArrayLike) -> Floats:
    """Price with VAT from the price without.

    Parameters
    ----------
    price : float or array
        Price without VAT [any money].
    vat_rate : float or array
        Rate of VAT [-].

    Returns
    -------
    float or array
        Price with VAT [the same money].

    Notes
    -----
    ``price (1 + vat_rate)``, not rounded. ValueError for a rate outside 0..1.

    References
    ----------
    Directive 2006/112/EC, article 78 (tax is taken on the price without it); the article number from
    memory.

    Examples
    --------
    >>> round(float(ex_to_in(27.50, 0.20)), 2)
    33.0
    """
    _check_rates(vat_rate)
    return np.asarray(np.asarray(price, dtype=float) * (1.0 + np.asarray(vat_rate, dtype=float)))[()]


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
