"""The ways to work out litres a head a day; each gives a figure or says why it does not apply."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.settings import DemandSettings, MobSettings
from dewpond.base.words import words
from dewpond.steps.demand.equations import (
    SHRUNK_SHARE,
    beef_water_l,
    effective_temperature,
    lowest_effective_temperature,
)
from dewpond.steps.demand.published import classes_of, read_class, usual_class

# No range of weights is printed with the equation: those of growing and finishing cattle on sale.
_EQUATION_WEIGHTS_KG = (180.0, 700.0)
_EQUATION_TEMPERATURES_C = (0.0, 40.0)
# The figures of the sheep table are for mild weather.
_MILD_C = 20.0


@dataclass(frozen=True)
class Figure:
    """Litres a head a day [L], where they come from, and what the reader should know of them."""

    litres_head_day: float
    method: str
    source: str
    stock_class: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refusal:
    """Why a method has no figure for a mob, in words that follow the name of the method."""

    reason: str


_Method = Callable[[MobSettings, DemandSettings, bool], Figure | Refusal]


def figure_for(mob: MobSettings, settings: DemandSettings) -> Figure:
    """Return the figure of the chosen method, or of the next one that applies to the mob.

    Raises
    ------
    InputError
        If the mob names a class that the chosen table does not hold.
    """
    passed_over: list[str] = []
    for name in _ORDER[settings.method]:
        found = _METHODS[name](mob, settings, name == settings.method)
        if isinstance(found, Figure):
            notes = tuple(
                words("demand.methods.instead_used", reason=reason, name=name)
                for reason in passed_over
            )
            return replace(found, notes=notes + found.notes)
        passed_over.append(f"{name} {found.reason}")
    fault = Fault(f'[[mob]] "{mob.name}"', "no method has a figure for it")
    raise InputError([fault])  # pragma: no cover - the last method of every order always applies


def _live_weight_share(mob: MobSettings, settings: DemandSettings, chosen: bool) -> Figure:
    share = settings.share_lactating if mob.lactating else settings.share_other
    state = words("demand.methods.in_milk") if mob.lactating else "not in milk"
    source = words("demand.methods.share_of_live_weight", share=share * 100, state=state)
    return Figure(share * mob.weight_kg, "live weight share", source)


def _class_table(mob: MobSettings, settings: DemandSettings, chosen: bool) -> Figure | Refusal:
    return _from_table("class table", settings.table, mob, settings, chosen)


def _cattle_temperature_table(
    mob: MobSettings, settings: DemandSettings, chosen: bool
) -> Figure | Refusal:
    return _from_table("cattle temperature table", "NRC beef", mob, settings, chosen)


def _sheep_table(mob: MobSettings, settings: DemandSettings, chosen: bool) -> Figure | Refusal:
    figure = _from_table("sheep table", "NRC sheep", mob, settings, chosen)
    if isinstance(figure, Figure) and settings.air_temperature_c > _MILD_C:
        note = words(
            "demand.methods.sheep_table_mild_weather", air_temperature_c=settings.air_temperature_c
        )
        return replace(figure, notes=(*figure.notes, note))
    return figure


def _cattle_temperature_equation(
    mob: MobSettings, settings: DemandSettings, chosen: bool
) -> Figure | Refusal:
    if mob.species != "cattle":
        return Refusal(words("demand.methods.no_species", species=mob.species))
    if mob.lactating:
        return Refusal(words("demand.methods.not_for_milk"))
    index = float(
        effective_temperature(
            settings.air_temperature_c,
            settings.relative_humidity_percent,
            settings.wind_speed_m_s,
            settings.sunshine_hours,
        )
    )
    weight_kg = SHRUNK_SHARE * mob.weight_kg
    return Figure(
        float(beef_water_l(weight_kg, index)),
        "cattle temperature equation",
        words("demand.methods.source_beef_equations"),
        words("demand.methods.growing_cattle"),
        _equation_notes(mob, settings, index),
    )


def _equation_notes(mob: MobSettings, settings: DemandSettings, index: float) -> tuple[str, ...]:
    notes = []
    for value, (low, high), unit in (
        (mob.weight_kg, _EQUATION_WEIGHTS_KG, "kg"),
        (settings.air_temperature_c, _EQUATION_TEMPERATURES_C, "°C"),
    ):
        if not low <= value <= high:
            notes.append(
                words(
                    "demand.methods.outside_fitted_range",
                    value=value,
                    unit=unit,
                    low=low,
                    high=high,
                )
            )
    if index < float(lowest_effective_temperature(SHRUNK_SHARE * mob.weight_kg)):
        notes.append(words("demand.methods.below_turning_point", index=index))
    return tuple(notes)


def _from_table(
    method: str, table: str, mob: MobSettings, settings: DemandSettings, chosen: bool
) -> Figure | Refusal:
    classes = classes_of(table, mob.species)
    label = f"{table} " if method == "class table" else ""
    if not classes:
        return Refusal(
            words("demand.methods.no_species_in_table", label=label, species=mob.species)
        )
    stock_class = _named_class(classes, mob, chosen) or usual_class(table, mob)
    if stock_class is None:
        state = "in milk" if mob.lactating else "not in milk"
        return Refusal(
            words(
                "demand.methods.no_class_in_table",
                label=label,
                species=mob.species,
                state=state,
                weight_kg=mob.weight_kg,
            )
        )
    reading = read_class(
        table, mob.species, stock_class, mob.weight_kg, settings.air_temperature_c
    )
    source = f'{reading.source}; class "{stock_class}"'
    return Figure(reading.litres_head_day, method, source, stock_class, reading.notes)


def _named_class(classes: tuple[str, ...], mob: MobSettings, chosen: bool) -> str | None:
    if mob.stock_class is None:
        return None
    by_lower = {name.lower(): name for name in classes}
    found = by_lower.get(mob.stock_class.strip().lower())
    # A table that only steps in for another need not know the classes of that other one.
    if found is None and chosen:
        fault = Fault(
            f'[[mob]] "{mob.name}", stock_class',
            f"the table has no such class of {mob.species}",
            found=f'"{mob.stock_class}"',
            remedy=nearest_name(mob.stock_class, classes),
        )
        raise InputError([fault])
    return found


_METHODS: Mapping[str, _Method] = {
    "live weight share": _live_weight_share,
    "class table": _class_table,
    "cattle temperature table": _cattle_temperature_table,
    "cattle temperature equation": _cattle_temperature_equation,
    "sheep table": _sheep_table,
}
_ORDER: Mapping[str, tuple[str, ...]] = {
    "live weight share": ("live weight share",),
    "class table": ("class table", "live weight share"),
    "cattle temperature table": ("cattle temperature table", "live weight share"),
    "cattle temperature equation": (
        "cattle temperature equation",
        "cattle temperature table",
        "live weight share",
    ),
    "sheep table": ("sheep table", "live weight share"),
}
