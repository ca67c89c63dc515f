"""The float valve of a trough: the least seat that passes a flow."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dewpond.base.errors import Fault, InputError
from dewpond.base.friction import float_valve_coefficient_m2, float_valve_head_m
from dewpond.base.pipes import read_fittings
from dewpond.base.settings import TroughSettings

_L_MIN_PER_M3_S = 60_000.0


@dataclass(frozen=True)
class Seat:
    """A float valve at its design flow: bore [mm], coefficient [-], head it takes up [m]."""

    bore_mm: float
    discharge_coefficient: float
    head_m: float


def seats_offered(settings: TroughSettings, folder: str | Path) -> list[tuple[float, float]]:
    """Return bore [mm] and discharge coefficient of every valve to choose from, least first.

    A coefficient in a table of the user's own stands; else that of ``[trough]`` holds for all.
    """
    if settings.seat_bore_mm is not None:
        return [(settings.seat_bore_mm, settings.discharge_coefficient)]
    own = bool(settings.valves)
    _, valves = read_fittings(Path(folder) / settings.valves if settings.valves else None)
    if not valves:
        fault = Fault(f"[trough] valves, {settings.valves}", "holds no float valve")
        raise InputError([fault])
    return sorted(
        (
            valve.seat_bore_mm,
            valve.discharge_coefficient if own else settings.discharge_coefficient,
        )
        for valve in valves
    )


def choose_seat(
    flow_l_min: float, offered: list[tuple[float, float]], head_limit_m: float
) -> Seat:
    """Return the least seat that passes a flow within a limit of head, else the widest.

    Source: the orifice law, q = Cd A √(2 g h).
    """
    seats = [
        Seat(bore_mm, coefficient, _head_m(flow_l_min, bore_mm, coefficient))
        for bore_mm, coefficient in offered
    ]
    return next((seat for seat in seats if seat.head_m <= head_limit_m), seats[-1])


def _head_m(flow_l_min: float, bore_mm: float, coefficient: float) -> float:
    area_m2 = float_valve_coefficient_m2(bore_mm / 1000.0, coefficient)
    return float(float_valve_head_m(flow_l_min / _L_MIN_PER_M3_S, area_m2))
