"""The pipe table against the standards' figures, and the faults of a user's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from dewpond.base.errors import InputError
from dewpond.base.pipes import (
    pressure_class_bar,
    rated_pressure_bar,
    read_fittings,
    read_pipe_table,
    surge_m,
    temperature_factor,
    wave_speed_m_s,
    working_head_m,
)

# Outside diameter: bores at SDR 11, 13.6, 17 [mm]; None where the standard lists no such pipe.
# EN 12201-2 and ISO 4427-2, from memory, cross-read with DIN 8074, MS 1058-2 and pandapipes.
BORES = {
    20: (16.0, None, None),
    25: (20.4, 21.0, None),
    32: (26.0, 27.2, 28.0),
    40: (32.6, 34.0, 35.2),
    50: (40.8, 42.6, 44.0),
    63: (51.4, 53.6, 55.4),
    75: (61.4, 63.8, 66.0),
    90: (73.6, 76.6, 79.2),
}
HEADER = "material,outside_diameter_mm,sdr,wall_mm,mrs_mpa,pressure_class_bar,source\n"


@pytest.mark.parametrize("material", ["PE80", "PE100"])
def test_bores_are_those_of_the_standard_and_no_other_size_is_listed(material: str) -> None:
    table = {
        (size.outside_diameter_mm, size.sdr): size.bore_mm
        for size in read_pipe_table()
        if size.material == material
    }
    expected = {
        (outside, sdr): bore
        for outside, bores in BORES.items()
        for sdr, bore in zip((11.0, 13.6, 17.0), bores, strict=True)
        if bore is not None
    }
    assert table == pytest.approx(expected)


def test_classes_follow_from_strength_and_wall() -> None:
    named = {(s.material, s.sdr): s.pressure_class_bar for s in read_pipe_table()}
    assert named == {
        ("PE100", 11.0): 16.0,
        ("PE100", 13.6): 12.5,
        ("PE100", 17.0): 10.0,
        ("PE80", 11.0): 12.5,
        ("PE80", 13.6): 10.0,
        ("PE80", 17.0): 8.0,
    }
    for (material, sdr), pressure in named.items():
        strength = {"PE100": 10.0, "PE80": 8.0}[material]
        assert pressure_class_bar(rated_pressure_bar(strength, sdr)) == pressure


def test_walls_are_the_nominal_ones_rounded_up() -> None:
    """Least wall is outside diameter over SDR, rounded up to 0.1 mm and to 2.0, 2.3, 3.0 mm."""
    for size in read_pipe_table():
        assert size.outside_diameter_mm / size.wall_mm <= size.sdr * 1.012, size.name


def test_every_size_has_a_sample_price_and_thinner_or_smaller_is_cheaper() -> None:
    sizes = read_pipe_table()
    for size in sizes:
        assert size.price_per_m is not None
        for other in sizes:
            if size.material == other.material and size.sdr == other.sdr:
                smaller = size.outside_diameter_mm < other.outside_diameter_mm
                assert not smaller or size.price_per_m < other.price_per_m
            if size.material == other.material and (
                size.outside_diameter_mm == other.outside_diameter_mm and size.sdr > other.sdr
            ):
                assert size.price_per_m < other.price_per_m


def test_25_mm_has_half_as_much_area_again_as_20_mm() -> None:
    """Common practice: 56 % more by outside diameter, about 60 % (62.6 %) by SDR 11 bore."""
    assert pytest.approx(0.5625) == (25.0 / 20.0) ** 2 - 1.0
    bores = {s.outside_diameter_mm: s.bore_mm for s in read_pipe_table() if s.sdr == 11.0}
    assert (bores[25.0] / bores[20.0]) ** 2 - 1.0 == pytest.approx(0.6256, abs=1e-4)


@pytest.mark.parametrize(
    ("temperature", "factor"),
    [(5, 1.0), (20, 1.0), (25, 0.935), (30, 0.87), (35, 0.805), (40, 0.74)],
)
def test_temperature_factor(temperature: float, factor: float) -> None:
    """EN 12201-1 / ISO 4427-1 annex A (from memory), straight lines between."""
    assert temperature_factor(temperature) == pytest.approx(factor)


def test_temperature_beyond_the_annex_is_refused() -> None:
    with pytest.raises(ValueError, match="0 to 40"):
        temperature_factor(43.0)


@pytest.mark.parametrize(
    ("sdr", "modulus", "speed", "rise"),
    [
        (11, 0.8e9, 292, 29.8),
        (13.6, 0.8e9, 258, 26.4),
        (13.6, 1e9, 288, 29.3),
        (17, 1e9, 254, 25.9),
    ],
)
def test_wave_speed_and_surge(sdr: float, modulus: float, speed: float, rise: float) -> None:
    """Thin-wall form and Joukowsky with K 2.1 GPa (computed)."""
    found = float(wave_speed_m_s(sdr, modulus))
    assert found == pytest.approx(speed, abs=1.0)
    assert found / 9.80665 == pytest.approx(rise, abs=0.1)
    assert surge_m(1.524, 11.0) == pytest.approx(50.5, abs=0.1)


def test_working_head_falls_with_heat() -> None:
    size = next(s for s in read_pipe_table() if s.pressure_class_bar == 10.0)
    assert working_head_m(size) == pytest.approx(102.0, abs=0.1)
    assert working_head_m(size, 40.0) == pytest.approx(0.74 * working_head_m(size))


def test_users_table_with_strength_or_class(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text(HEADER + "PE40,25,,3.5,4,,maker\nPVC,32,21,1.6,,16,maker\n", encoding="utf-8")
    first, second = read_pipe_table(path)
    assert (first.sdr, first.pressure_class_bar) == (25 / 3.5, 10.0)
    assert (second.bore_mm, second.pressure_class_bar) == (pytest.approx(28.8), 16.0)
    assert first.price_per_m is None


def test_all_faults_of_a_users_table_come_at_once(tmp_path: Path) -> None:
    path, prices = tmp_path / "own.csv", tmp_path / "prices.csv"
    path.write_text(
        HEADER + "PE100,25,11,13,10,,maker\nPE100,32,11,3,,,maker\nPE80,32,11,3,8,,a\n"
        "PE80,32,11,3,8,,b\n",
        encoding="utf-8",
    )
    prices.write_text(
        "material,outside_diameter_mm,sdr,price_per_m,currency,source\nPE80,32,11,dear,GBP,x\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        read_pipe_table(path, prices)
    text = str(caught.value)
    assert len(caught.value.faults) == 4
    assert "fills the pipe" in text
    assert "says nothing of its strength" in text
    assert "stands above" in text
    assert 'found "dear"' in text


def test_fittings_and_valves_of_the_package() -> None:
    """K as in the table of EPA/600/R-20/133, chapter 3."""
    losses, valves = read_fittings()
    assert losses["tee through branch"] == 1.8
    assert losses["gate valve open"] == 0.2
    assert len(losses) == 13
    assert [v.seat_bore_mm for v in valves] == sorted(v.seat_bore_mm for v in valves)
    assert {v.discharge_coefficient for v in valves} == {0.6}
    assert all("common practice" in v.source for v in valves)


def test_a_valve_without_a_seat_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "fittings.csv"
    path.write_text(
        "name,kind,loss_coefficient,seat_bore_mm,discharge_coefficient,source\n"
        "quick,float valve,,,0.7,maker\nbend,fitting,,,,maker\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="needs seat_bore_mm and discharge_coefficient") as caught:
        read_fittings(path)
    assert len(caught.value.faults) == 2
