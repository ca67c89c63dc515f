"""Published values, worked examples and golden systems, one line each in hydraulics.csv."""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from dewpond.base.friction import (
    DarcyWeisbach,
    FixedFactor,
    HazenWilliams,
    bore_for_loss_m,
    colebrook_factor_and_slope,
    friction_factor_and_slope,
    minor_loss_m,
    velocity_m_s,
)
from dewpond.base.friction.factor import _transition
from dewpond.base.pipenetwork import NetworkFlow, PipeNetwork, Pumps, solve_network
from dewpond.base.pipes import (
    pressure_class_bar,
    rated_pressure_bar,
    read_fittings,
    read_pipe_table,
    surge_m,
    wave_speed_m_s,
    working_head_without_surge_m,
)
from dewpond.base.pumps import (
    DutyPoint,
    atmospheric_pressure_pa,
    duty_point,
    fitted_curve,
    hydraulic_energy_kwh,
    hydraulic_power_w,
    input_power_w,
    single_point_curve,
    size_solar_pump,
    suction_head_m,
)
from dewpond.base.storage import balancing_volume_l
from dewpond.base.units import bar_from_head_m, head_m_from_bar
from dewpond.base.water import water_at

FOOT, GALLON_US = 0.3048, 3.785411784e-3
CUBIC_FOOT = FOOT**3
with (Path(__file__).parent / "hydraulics.csv").open(encoding="utf-8", newline="") as lines:
    ROWS = list(csv.DictReader(lines))


def loss(flow_l_s: float, bore_mm: float, length_m: float = 100.0) -> float:
    slope, _ = DarcyWeisbach().loss_and_slope_per_metre(flow_l_s / 1e3, bore_mm / 1e3)
    return float(slope) * length_m


def swamee_jain(reynolds: float, relative_roughness: float) -> float:
    return 0.25 / float(np.log10(relative_roughness / 3.7 + 5.74 / reynolds**0.9)) ** 2


def dunlop(reynolds: float) -> float:
    """The cubic as published: with Swamee and Jain's value and slope at Re 4000."""
    rough, step = 0.01 / 26.0, 1e-3
    rise = swamee_jain(4000 + step, rough) - swamee_jain(4000 - step, rough)
    slope = rise / (2.0 * step) * 2000.0
    value, _ = _transition(
        np.array(reynolds / 2000.0), np.array(swamee_jain(4000, rough)), np.array(slope)
    )
    return float(value)


MAURER = DarcyWeisbach(1.023e-6, 0.046e-3)
US = DarcyWeisbach(1.2250e-5 * FOOT**2, 0.0005 * FOOT)


@cache
def parallel() -> NetworkFlow:
    net = PipeNetwork(
        2,
        np.array([0, 0]),
        np.array([1, 1]),
        np.array([400.0, 600.0]),
        np.array([0.2, 0.3]),
        np.zeros(2),
        np.array([0]),
        np.array([100.0]),
        DarcyWeisbach(3.029e-7, 0.025e-3),
    )
    return solve_network(net, demand_m3_s=[0.0, 0.5])


@cache
def pump_in_feet() -> DutyPoint:
    points = np.array([0.0, 5000.0, 7850.0]) * GALLON_US / 60.0
    curve = fitted_curve(points, np.array([81.0, 60.0, 20.0]) * FOOT)

    def lost(flow: float) -> float:
        return 0.160 * (flow / CUBIC_FOOT) ** 2 * FOOT

    found = duty_point(curve, 30.0 * FOOT, lost)
    assert found is not None
    return found


def three_tanks(
    lengths: list[float],
    bores: list[float],
    levels: list[float],
    friction: DarcyWeisbach | FixedFactor,
) -> NetworkFlow:
    net = PipeNetwork(
        4,
        np.array([0, 3, 3]),
        np.array([3, 1, 2]),
        np.array(lengths),
        np.array(bores),
        np.zeros(3),
        np.array([0, 1, 2]),
        np.array(levels),
        friction,
    )
    return solve_network(net)


@cache
def tanks_8() -> NetworkFlow:
    lengths = [1000.0 * FOOT, 500.0 * FOOT, 400.0 * FOOT]
    return three_tanks(lengths, [FOOT] * 3, [100.0 * FOOT, 20.0 * FOOT, 0.0], FixedFactor(0.02))


@cache
def tanks_9() -> NetworkFlow:
    darcy = 0.01 / 3.0 * np.pi**2 * 9.80665 / 8.0  # h = f L Q²/(3 d⁵) written with Darcy's factor
    lengths, bores = [1500.0, 800.0, 400.0], [0.3, 0.25, 0.2]
    return three_tanks(lengths, bores, [60.0, 30.0, 15.0], FixedFactor(darcy))


@cache
def golden_2() -> NetworkFlow:
    return three_tanks(
        [800.0, 500.0, 400.0], [0.0514, 0.0408, 0.0326], [100.0, 85.0, 70.0], DarcyWeisbach()
    )


@cache
def golden_1(law: str) -> NetworkFlow:
    net = PipeNetwork(
        4,
        np.array([0, 1, 1]),
        np.array([1, 2, 3]),
        np.array([600.0, 350.0, 250.0]),
        np.array([0.0514, 0.0408, 0.0326]),
        np.array([0.5, 0.0, 0.0]),
        np.array([0]),
        np.array([120.0]),
        DarcyWeisbach() if law == "D-W" else HazenWilliams(150.0),
    )
    return solve_network(net, demand_m3_s=[0.0, 0.2e-3, 0.4e-3, 0.25e-3])


@cache
def golden_3() -> NetworkFlow:
    curve = single_point_curve(1.0e-3, 40.0)
    pumps = Pumps(
        np.array([0]),
        np.array([1]),
        np.array([curve.shutoff_head_m]),
        np.array([curve.coefficient]),
        np.array([curve.exponent]),
    )
    net = PipeNetwork(
        3,
        np.array([1]),
        np.array([2]),
        np.array([900.0]),
        np.array([0.0408]),
        np.zeros(1),
        np.array([0, 2]),
        np.array([0.0, 30.0]),
        pumps=pumps,
    )
    return solve_network(net)


def series() -> float:
    """Two pipes in series; the sudden join (V1 - V2)²/2g is a K on the first pipe."""
    join = (1.0 - (0.2 / 0.25) ** 2) ** 2
    net = PipeNetwork(
        3,
        np.array([0, 1]),
        np.array([1, 2]),
        np.array([15.0, 45.0]),
        np.array([0.2, 0.25]),
        np.array([0.5 + join, 1.0]),
        np.array([0, 2]),
        np.array([9.0, 0.0]),
        FixedFactor(0.04),
    )
    return float(solve_network(net).flow_m3_s[0, 0])


MORNING_M3 = [23.5, 12.5, 7, 7, 7, 29, 34.5, 34.5, 45.5, 67.5, 46.5, 85]
EVENING_M3 = [123.5, 96, 78.5, 56.5, 34.5, 56.5, 56.5, 56.5, 78.5, 56.5, 23.5, 23.5]
DRAFT_M3 = np.array([*MORNING_M3, *EVENING_M3])


def balancing(first_hour: int, last_hour: int) -> float:
    hours = np.arange(1, 25)
    runs = (hours >= first_hour) & (hours <= last_hour)
    return balancing_volume_l(DRAFT_M3, np.where(runs, DRAFT_M3.sum() / runs.sum(), 0.0))


def pipe(material: str, outside_mm: float, sdr: float) -> float:
    sizes = {(s.material, s.outside_diameter_mm, s.sdr): s for s in read_pipe_table()}
    return sizes[material, outside_mm, sdr].bore_mm


def limit_72(pressure: float) -> float:
    size = next(s for s in read_pipe_table() if s.pressure_class_bar == pressure)
    return working_head_without_surge_m(size)


def fittings_loss() -> float:
    k = read_fittings()[0]
    total = k["square entrance"] + 3 * k["short elbow"] + k["exit"]
    bore = 0.1
    return float(minor_loss_m(total, np.pi / 4 * bore**2, bore))


def hazen_williams(flow_m3_s: float, bore_m: float, coefficient: float) -> float:
    law = HazenWilliams(coefficient)
    return float(law.loss_and_slope_per_metre(flow_m3_s, bore_m)[0]) * 100.0


COMPUTE: dict[str, Callable[[], float]] = {
    "colebrook": lambda: float(colebrook_factor_and_slope(1e5, 1e-4)[0]),
    "transition": lambda: dunlop(3000.0),
    "transition start": lambda: float(friction_factor_and_slope(2000.0 + 1e-9, 3e-4)[0]),
    "W1": lambda: float(MAURER.loss_and_slope_per_metre(0.416, 0.5)[0]) * 100.0,
    "W2": lambda: float(MAURER.flow_m3_s(0.006, 0.5)),
    "W3": lambda: bore_for_loss_m(MAURER, 0.416, 0.006),
    "W4": lambda: (
        float(US.loss_and_slope_per_metre(4.0 * CUBIC_FOOT, 20.0 / 12.0 * FOOT)[0]) * 10560.0
    ),
    "W5": lambda: (
        bore_for_loss_m(
            DarcyWeisbach(1.1012e-5 * FOOT**2, 0.0008 * FOOT), 37.5 * CUBIC_FOOT, 215.0 / 8000.0
        )
        / FOOT
    ),
    "W6 flow": lambda: float(parallel().flow_m3_s[0, 0]),
    "W6 loss": lambda: 100.0 - float(parallel().head_m[0, 1]),
    "W7 flow": lambda: pump_in_feet().flow_m3_s / CUBIC_FOOT,
    "W7 head": lambda: pump_in_feet().head_m / FOOT,
    "W8 from A": lambda: float(tanks_8().flow_m3_s[0, 0]) / CUBIC_FOOT,
    "W8 into B": lambda: float(tanks_8().flow_m3_s[0, 1]) / CUBIC_FOOT,
    "W9 from A": lambda: float(tanks_9().flow_m3_s[0, 0]),
    "W9 junction": lambda: float(tanks_9().head_m[0, 3]),
    "W10": series,
    "W11 12 h": lambda: balancing(9, 20),
    "W11 24 h": lambda: balancing(1, 24),
    "W12": lambda: hazen_williams(0.05 / 60.0, 0.032, 150.0),
    "G1 J1 D-W": lambda: float(golden_1("D-W").head_m[0, 1]),
    "G1 J2 D-W": lambda: float(golden_1("D-W").head_m[0, 2]),
    "G1 J3 D-W": lambda: float(golden_1("D-W").head_m[0, 3]),
    "G1 J2 H-W": lambda: float(golden_1("H-W").head_m[0, 2]),
    "G2 junction": lambda: float(golden_2().head_m[0, 3]),
    "G2 flow": lambda: float(golden_2().flow_m3_s[0, 0]) * 1e3,
    "G3 flow": lambda: float(golden_3().pump_flow_m3_s[0, 0]) * 1e3,
    "PE 32": lambda: loss(0.5, 26.0),
    "PE 63": lambda: loss(1.5, 51.4),
    "laminar": lambda: loss(0.02, 16.0),
    "Hazen-Williams": lambda: hazen_williams(1e-3, 0.0408, 150.0),
    "Hazen-Williams constant": lambda: hazen_williams(1.0, 1.0, 1.0) / 100.0,
    "minor loss": fittings_loss,
    "exact bore": lambda: bore_for_loss_m(DarcyWeisbach(), 1e-3, 10.0 / 500.0),
    "viscosity 25": lambda: water_at(25.0).dynamic_viscosity_pa_s * 1e6,
    "viscosity 10": lambda: water_at(10.0).kinematic_viscosity_m2_s * 1e6,
    "head per psi": lambda: head_m_from_bar(0.06894757) / FOOT,
    "static pressure": lambda: bar_from_head_m(30.0) * 100.0,
    "PE100 SDR 11": lambda: rated_pressure_bar(10.0, 11.0),
    "PE80 SDR 11": lambda: rated_pressure_bar(8.0, 11.0),
    "PE80 SDR 11 class": lambda: pressure_class_bar(rated_pressure_bar(8.0, 11.0)),
    "bore 63": lambda: pipe("PE100", 63.0, 11.0),
    "bore 90": lambda: pipe("PE80", 90.0, 17.0),
    "72 % PN 10": lambda: limit_72(10.0),
    "72 % PN 16": lambda: limit_72(16.0),
    "flow at 5 ft/s": lambda: 1.524 / float(velocity_m_s(1.0, 0.026)) * 1e3,
    "wave speed": lambda: float(wave_speed_m_s(11.0)),
    "surge": lambda: float(surge_m(1.0, 11.0)),
    "hydraulic power": lambda: hydraulic_power_w(1e-3, 50.0),
    "shaft power": lambda: input_power_w(20.0 * GALLON_US / 60.0, 150.0 * FOOT, 0.55) / 745.69987,
    "single point": lambda: (
        single_point_curve(600.0 * GALLON_US / 60.0, 150.0 * FOOT).shutoff_head_m / FOOT
    ),
    "atmosphere 1000": lambda: atmospheric_pressure_pa(1000.0),
    "atmosphere 2000": lambda: atmospheric_pressure_pa(2000.0),
    "atmosphere 3000": lambda: atmospheric_pressure_pa(3000.0),
    "atmospheric head": lambda: head_m_from_bar(atmospheric_pressure_pa(1000.0) / 1e5),
    "suction head": lambda: suction_head_m(0.0, 4.0, 0.8),
    "suction head 1000": lambda: suction_head_m(1000.0, 4.0, 0.8),
    "hydraulic energy": lambda: hydraulic_energy_kwh(5000.0, 40.0),
    "solar array": lambda: size_solar_pump(5000.0, 40.0, 5.0, 0.35, 0.8).array_w,
}


def test_every_line_of_the_table_is_checked_and_none_twice() -> None:
    keys = [row["key"] for row in ROWS]
    assert sorted(keys) == sorted(COMPUTE)
    assert len(keys) >= 50


@pytest.mark.parametrize("row", ROWS, ids=[row["key"] for row in ROWS])
def test_published_value(row: dict[str, str]) -> None:
    found = COMPUTE[row["key"]]()
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row[
        "source"
    ]
