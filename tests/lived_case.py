"""The reference case with invented lives and years: two clocks, wear kept, early failures, a pair."""

from __future__ import annotations

from dataclasses import replace

from reference_case import case, span, ways

from repairecon.records import Case, Unit, Way, Years

LIVES: dict[str, dict[str, object]] = {
    "rebuild here": {
        "life_years": span(4, 8, 14),
        "life_hours": span(300, 700, 1500),
        "life_shape": 1.8,
        "wear_kept": 0.2,
        "p_early": 0.05,
    },
    "exchange": {"life_years": span(5, 9, 15), "life_shape": 1.6, "p_early": 0.02},
    "new": {"life_years": span(9, 14, 22), "life_hours": span(800, 1500, 3000), "life_shape": 2.2},
    "second-hand": {"life_years": span(2, 5, 10), "life_shape": 1.2, "p_early": 0.1},
    "buy new, rebuild the old": {},
}
YEARS = Years(
    horizon_years=12.0,
    discount_rate=0.05,
    inflation_rate=0.02,
    hours_a_year=90.0,
    p_away=0.4,
    cost_away=span(50, 200, 900),
    days_away=span(1, 3, 10),
    swap_hours=span(1, 2, 4),
    shelf_life_years=15.0,
    shelf_shape=1.5,
    turned_every_years=2.0,
    resale_share=0.3,
    p_kit_fits=0.3,
)


def lived_ways() -> tuple[Way, ...]:
    """The ways of the reference case with their lives."""
    return tuple(replace(w, **LIVES[w.way]) for w in ways())  # type: ignore[arg-type]


def lived(age_years: float = 2.0, **years: object) -> Case:
    """The whole case; any field of its years replaced."""
    unit = Unit(name="reference unit", kind="winch", figures="invented", age_years=age_years)
    return case(ways=lived_ways(), unit=unit, years=replace(YEARS, **years))  # type: ignore[arg-type]
