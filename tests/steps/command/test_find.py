"""The command area as a whole: closed forms, an outside friction law, and its laws."""

from __future__ import annotations

from itertools import pairwise

import fluids
import numpy as np
import pytest
from command_farm import TANK, at, find, level_ground
from hypothesis import given, settings
from hypothesis import strategies as st

import farms
from dewpond import InputError
from dewpond.base.model import CommandArea

FIELDS = farms.squares(3, 2, 200.0)


def slope(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Fall eastwards by 1 in 25 from 130 m."""
    return 130.0 - 0.04 * (x - farms.WEST) + 0.0 * y


def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    east, north = x - farms.WEST, y - farms.SOUTH
    return 110.0 + 15.0 * np.exp(-((east - 350) ** 2 + (north - 200) ** 2) / 15_000.0)


def served(area: CommandArea) -> np.ndarray:
    return np.nan_to_num(area.ground.spare_m.values, nan=-1.0) >= 0.0


def test_friction_is_that_of_the_library_fluids() -> None:
    """Darcy-Weisbach with Colebrook at 10 °C against fluids, 12 L/min in PE80 32 mm SDR 11."""
    case = find(FIELDS, level_ground, {}, source=[at(0, 0)]).ground.case
    bore, speed = 0.026, 12.0 / 60_000 / (np.pi / 4 * 0.026**2)
    assert case.pipe.bore_mm == pytest.approx(26.0)
    reynolds = fluids.Reynolds(V=speed, D=bore, nu=1.3063e-6)
    factor = fluids.friction_factor(Re=reynolds, eD=1e-5 / bore, Method="Colebrook")
    loss = factor / bore * speed**2 / (2 * 9.80665)
    assert case.loss_per_m == pytest.approx(loss, rel=1e-4)
    assert case.fittings_loss_m == pytest.approx(3.0 * speed**2 / (2 * 9.80665), rel=1e-9)
    assert case.velocity_m_s == pytest.approx(speed, rel=1e-9)


def test_boundary_on_level_ground_is_a_circle() -> None:
    """Level 105, ground 100, head 3: served within (105 - 100 - 3 - K) / J of the tank."""
    area = find(FIELDS, level_ground, {}, source=[at(300, 200, level_m=104.0)])
    case = area.ground.case
    radius = (105.0 - 100.0 - 3.0 - case.fittings_loss_m) / case.loss_per_m
    rows, columns = area.ground.spare_m.values.shape
    transform = area.ground.spare_m.transform
    x = transform.c + (np.arange(columns) + 0.5) * transform.a
    y = transform.f + (np.arange(rows) + 0.5) * transform.e
    far = np.hypot(x[None, :] - farms.WEST - 300, y[:, None] - farms.SOUTH - 200)
    np.testing.assert_array_equal(served(area), far <= radius)
    assert 150 < radius < 300
    assert not area.met


def test_main_falls_with_the_flow_and_the_fall_counts() -> None:
    main = {
        "name": "main", "kind": "mains", "at": [farms.WEST, farms.SOUTH], "crs": farms.CRS,
        "static_pressure_bar": 2.0, "bucket_l": 10.0, "bucket_s": 20.0,
    }  # fmt: skip
    case = find(FIELDS, level_ground, {}, source=[main]).ground.case
    still = 100.0 + 2.0 * 1e5 / (999.70 * 9.80665)
    assert case.still_level_m == pytest.approx(still, rel=1e-6)
    # 30 L/min at no pressure, four fifths of it in a dry summer, H falls by Q to the power 1.85.
    assert case.level_m == pytest.approx(still - (still - 100.0) * (12.0 / 24.0) ** 1.85)
    assert case.enough
    more = find(FIELDS, level_ground, {"flow_l_min": 25.0}, source=[main])
    assert not more.ground.case.enough
    assert not more.met
    assert any("24.0 L/min" in line for line in more.warnings)


def test_a_class_exceeded_in_a_hollow_is_told() -> None:
    area = find(FIELDS, lambda x, y: 200 - 0.2 * (x - farms.WEST), {}, source=[at(0, 200)])
    ground = area.ground
    over = ground.over_class()
    lowest_allowed = ground.case.still_level_m - ground.case.allowed_static_head_m
    below = ground.ground_level_m.values < lowest_allowed
    np.testing.assert_array_equal(over, below)
    assert over.any()
    assert any("12.5 bar class" in line for line in area.warnings)
    assert area.met, "served all the same: a break tank or a valve mends it"


def test_defaults_follow_the_project() -> None:
    """80 head of 350 kg, 12 % a day in 7 h: 8.00 L/min, the check of the demand rule."""
    with farms.ground(FIELDS, level_ground) as data:
        from dewpond.gravity import command_area

        area = command_area(
            farms.project(source=[at(0, 0)]), paddocks=farms.table(FIELDS), elevation=data
        )
    case = area.ground.case
    assert case.flow_l_min == pytest.approx(8.0)
    assert 0 < case.head_m <= 5.0
    assert 100 * case.loss_per_m <= 1.0
    assert case.length_factor == 1.5
    assert set(area.ground.paddocks["chosen"]) == {True}


class TestLaws:
    @given(st.floats(0.5, 6.0), st.sampled_from([(32.0, 25.0), (40.0, 32.0), (50.0, 32.0)]))
    @settings(max_examples=4)
    def test_more_head_or_a_narrower_pipe_never_serves_more(
        self, head: float, sizes: tuple[float, float]
    ) -> None:
        source = [at(20, 200, level_m=114.0)]
        wide, narrow = sizes
        asked = {"head_m": head, "outside_diameter_mm": wide}
        first = served(find(FIELDS, hill, asked, source=source))
        for other in ({**asked, "head_m": head + 1.0}, {**asked, "outside_diameter_mm": narrow}):
            assert not (served(find(FIELDS, hill, other, source=source)) & ~first).any()

    def test_raising_the_tank_never_serves_less(self) -> None:
        areas = [
            find(FIELDS, hill, {}, source=[at(20, 200, level_m=level)])
            for level in (108.0, 114.0, 118.0, 140.0)
        ]
        for low, high in pairwise(areas):
            assert not (served(low) & ~served(high)).any()
            assert (
                high.ground.paddocks["commanded_share"] >= low.ground.paddocks["commanded_share"]
            ).all()
        assert not areas[0].met
        assert areas[-1].met

    def test_classes_part_the_ground(self) -> None:
        area = find(
            FIELDS, hill, {}, source=[at(20, 200, level_m=114.0)],
            terrain={"height_standard_deviation_m": 0.2},
        )  # fmt: skip
        table = area.ground.paddocks
        shares = table[["surely_share", "probably_share", "perhaps_share", "not_share",
                        "unknown_share"]]  # fmt: skip
        np.testing.assert_allclose(shares.sum(axis=1), 1.0)
        # Ground that is served more likely than not is served by the best guess.
        probably = table["surely_share"] + table["probably_share"]
        assert (probably <= table["commanded_share"] + 1e-12).all()
        assert (probably > table["commanded_share"] - 0.1).all()


class TestFaults:
    def test_all_at_once(self) -> None:
        with pytest.raises(InputError) as caught:
            find(
                FIELDS, level_ground,
                {"source": "tenk", "paddocks": ["field 1", "feild 2"],
                 "outside_diameter_mm": 33.0},
            )  # fmt: skip
        text = str(caught.value)
        assert len(caught.value.faults) == 3
        assert 'did you mean "tank"?' in text
        assert 'did you mean "field 2"?' in text
        assert "one of 20, 25, 32" in text

    @pytest.mark.parametrize(
        ("source", "word"),
        [
            ({"kind": "mains"}, "static_pressure_bar is not given"),
            ({"kind": "borehole"}, "does not run out by itself"),
            ({"kind": "mains", "static_pressure_bar": 2.0, "pump": {}}, "a pump makes it"),
        ],
    )
    def test_source_without_a_level_of_its_own(self, source: dict, word: str) -> None:
        other = {"name": "tap", "at": TANK_AT, "crs": farms.CRS, **source}
        with pytest.raises(InputError, match=word):
            find(FIELDS, level_ground, {"source": "tap"}, source=[at(0, 0), other])

    def test_first_source_with_a_level_is_taken(self) -> None:
        well = {"name": "well", "kind": "borehole", "at": TANK_AT, "crs": farms.CRS}
        area = find(FIELDS, level_ground, {}, source=[well, at(0, 0)])
        assert area.ground.case.source == TANK["name"]

    def test_class_that_the_diameter_does_not_come_in(self) -> None:
        with pytest.raises(InputError, match=r"pressure_class_bar.*found 16 bar.*12\.5"):
            find(FIELDS, level_ground, {"pressure_class_bar": 16.0}, source=[at(0, 0)])

    def test_ill_value(self) -> None:
        with pytest.raises(InputError, match="greater than 0"):
            find(FIELDS, level_ground, {"flow_l_min": 0.0}, source=[at(0, 0)])

    def test_nothing_to_go_by_for_the_flow(self) -> None:
        mob = [{"name": "ewes", "species": "sheep", "head": 9, "weight_kg": 70.0,
                "paddocks": ["field 1"]}]  # fmt: skip
        from dewpond.gravity import command_area

        with (
            farms.ground(FIELDS, level_ground) as data,
            pytest.raises(InputError, match="no flow"),
        ):
            command_area(
                farms.project(source=[at(0, 0)], mob=mob), {"paddocks": ["field 2"]},
                paddocks=farms.table(FIELDS), elevation=data,
            )  # fmt: skip


TANK_AT = [farms.WEST + 5.0, farms.SOUTH + 5.0]
