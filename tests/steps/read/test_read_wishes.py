"""Tenure, works that are there already, and the user's wishes, as files hold them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, MultiPoint, Point, box

from steps.read.read_world import EAST, NORTH, UTM, faults, read, squares, write_holding


def write(folder, file, shapes, **fields):
    table = gpd.GeoDataFrame(fields, geometry=list(shapes), crs=UTM)
    table.to_file(folder / file, driver="GPKG")
    return file


def pipe(*xs):
    return LineString([(EAST + x, NORTH + 10) for x in xs])


def test_existing_works_keep_their_size_and_condition(tmp_path):
    write_holding(tmp_path)
    ways = [pipe(0, 50), pipe(50, 90), pipe(90, 99)]
    known = {
        "Outside_Diameter_MM": [25.0, None, 32.0], "condition": ["Good", None, "poor"],
    }  # fmt: skip
    lines = write(tmp_path, "pipe.gpkg", ways, **known)
    pair = MultiPoint([(EAST + 5, NORTH), (EAST + 9, NORTH)])
    points = write(tmp_path, "outlets.gpkg", [pair], condition=["fair"])
    features = read(
        tmp_path, features={"existing_pipe": lines, "existing_outlets": points}
    ).features
    np.testing.assert_equal(
        features.existing_pipe["outside_diameter_mm"].to_numpy(), [25.0, np.nan, 32.0]
    )
    assert features.existing_pipe["condition"].tolist() == ["good", "", "poor"]
    assert features.existing_outlets["condition"].tolist() == ["fair", "fair"]
    assert features.existing_outlets.geom_type.tolist() == ["Point", "Point"]


def test_absent_wishes_are_empty_tables_with_all_their_fields(tmp_path):
    features = read(write_holding(tmp_path)).features
    for kind in ("existing_outlets", "fixed_outlets", "spine", "forbidden_ground",
                 "preferred_ground"):  # fmt: skip
        assert getattr(features, kind).empty
        assert getattr(features, kind).crs.to_epsg() == 32630
    assert {"outside_diameter_mm", "condition"} <= set(features.existing_pipe)


def test_wishes_are_read(tmp_path):
    write_holding(tmp_path)
    ground = write(tmp_path, "ground.gpkg", [box(EAST, NORTH, EAST + 20, NORTH + 20)])
    place = write(tmp_path, "place.gpkg", [Point(EAST + 3, NORTH + 4)], name=["corner"])
    line = write(tmp_path, "spine.gpkg", [pipe(0, 150)])
    features = read(
        tmp_path,
        features={"forbidden_ground": ground, "preferred_ground": ground, "fixed_outlets": place,
                  "spine": line},
    ).features  # fmt: skip
    assert features.fixed_outlets["name"].tolist() == ["corner"]
    assert features.fixed_outlets.geometry.iloc[0].distance(Point(EAST + 3, NORTH + 4)) < 1e-6
    assert features.spine.length.sum() == pytest.approx(150, abs=0.01)
    assert features.forbidden_ground.area.sum() == pytest.approx(400, abs=0.1)


def test_fields_that_will_not_do_are_faults_all_at_once(tmp_path):
    write_holding(tmp_path)
    lines = write(tmp_path, "pipe.gpkg", [pipe(0, 50), pipe(50, 90)],
                  outside_diameter_mm=["wide", "-4"], condition=["god", "good"])  # fmt: skip
    text = faults(tmp_path, features={"existing_pipe": lines})
    assert len(text) == 3
    assert sum("outside_diameter_mm" in item for item in text) == 2
    assert any("condition" in item and 'did you mean "good"?' in item for item in text)


def test_tenure_is_read_and_nothing_written_means_owned(tmp_path):
    frame = squares().assign(held=["Rented", None, "wayleave"])
    write_holding(tmp_path, frame)
    holding = read(tmp_path, paddocks={"boundaries": "paddocks.geojson", "tenure_field": "held"})
    assert holding.paddocks["tenure"].tolist() == ["rented", "owned", "wayleave"]


def test_a_tenure_or_field_that_is_not_known_is_a_fault(tmp_path):
    write_holding(tmp_path, squares().assign(held=["leased", "owned", "owned"]))
    table = {"boundaries": "paddocks.geojson", "tenure_field": "held"}
    (text,) = faults(tmp_path, paddocks=table)
    assert '"leased"' in text
    assert "wayleave" in text
    (text,) = faults(tmp_path, paddocks={**table, "tenure_field": "hold"})
    assert 'did you mean "held"?' in text


@pytest.mark.parametrize(
    ("written", "read_as"),
    [((1234.0, 77.0, None), ["1234", "77", ""]), (("SD 12", None, "=1"), ["SD 12", "", "=1"])],
)
def test_parcels_are_read_as_text(tmp_path, written, read_as):
    write_holding(tmp_path, squares().assign(sheet=list(written)))
    table = {"boundaries": "paddocks.geojson", "parcel_field": "sheet"}
    holding = read(tmp_path, paddocks=table)
    assert holding.paddocks["parcel"].tolist() == read_as
    (text,) = faults(tmp_path, paddocks={**table, "parcel_field": "sheets"})
    assert 'did you mean "sheet"?' in text
    assert "parcel" not in read(tmp_path).paddocks
