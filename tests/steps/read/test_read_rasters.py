"""Heights from rasters of every kind, against the plane they were made from."""

from __future__ import annotations

import hashlib

import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.shutil
from affine import Affine
from rasterio.io import MemoryFile
from rasterio.vrt import WarpedVRT
from read_world import (
    EAST,
    NORTH,
    UTM,
    faults,
    plane_m,
    read,
    settings,
    squares,
    write_dem,
    write_holding,
)
from scipy.interpolate import RegularGridInterpolator

from dewpond.base.settings import project_from_dict
from dewpond.steps.read import files, rasters, read_holding

GEOGRAPHIC = {"crs": "EPSG:4326", "posting": 1e-4}
FOOT_MAP = "+proj=tmerc +lat_0=53.5 +lon_0=-2 +x_0=100000 +datum=WGS84 +units=us-ft +no_defs"


def _points(random_state: int = 1, n: int = 400) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(random_state)
    return EAST + rng.uniform(-150, 750, n), NORTH + rng.uniform(-150, 350, n)


def _assert_on_plane(holding, atol_m: float = 2e-3) -> None:
    easting, northing = _points()
    found = holding.surface.heights_m(easting, northing)
    np.testing.assert_allclose(found, plane_m(easting, northing), rtol=0, atol=atol_m)


@pytest.mark.parametrize(
    ("dem", "terrain"),
    [
        pytest.param({}, {}, id="metres, by the map"),
        pytest.param({"unit": "metre"}, {}, id="metres, stated"),
        pytest.param({"crs": "EPSG:27700"}, {}, id="national grid"),
        pytest.param({"crs": "EPSG:25830", "posting": 7.3}, {}, id="another datum"),
        pytest.param({**GEOGRAPHIC, "unit": "m"}, {}, id="degrees, metres stated"),
        pytest.param(GEOGRAPHIC, {"height_unit": "metre"}, id="degrees, metres set"),
        pytest.param({"crs": "EPSG:27700+5701"}, {"height_datum": "Newlyn"}, id="vertical CRS"),
        pytest.param({"dtype": "int16", "scale": 0.01, "offset": 50.0}, {}, id="scale and offset"),
        pytest.param({"tiled": True, "blockxsize": 16, "blockysize": 16}, {}, id="tiles"),
        pytest.param({"dtype": "float32", "nodata": np.nan}, {}, id="float32"),
    ],
)
def test_plane_in_metres(tmp_path, dem, terrain):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", **dem)
    integer = dem.get("dtype") == "int16"
    _assert_on_plane(read(tmp_path, terrain=terrain), 6e-3 if integer else 2e-3)


@pytest.mark.parametrize(
    ("dem", "foot_m", "terrain"),
    [
        ({"unit": "ft"}, 0.3048, {}),
        ({"unit": "foot"}, 0.3048, {"height_unit": "foot"}),
        ({"unit": "US survey foot"}, 1200 / 3937, {}),
        ({}, 0.3048, {"height_unit": "foot"}),
        ({"crs": FOOT_MAP, "posting": 30.0}, 0.3048, {"height_unit": "foot"}),
        # NAVD88 height in US survey feet, EPSG 6360, as vertical CRS of the file.
        ({"crs": "EPSG:32630+6360"}, 1200 / 3937, {}),
    ],
)
def test_plane_in_feet(tmp_path, dem, foot_m, terrain):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", height=lambda e, n: plane_m(e, n) / foot_m, **dem)
    _assert_on_plane(read(tmp_path, terrain=terrain))


def test_esri_ascii_with_prj_without_codes(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "made.tif", crs="EPSG:27700")
    with rasterio.open(tmp_path / "made.tif") as made:
        values = made.read(1)
        head = (
            f"ncols {made.width}\nnrows {made.height}\nxllcorner {made.transform.c:.6f}\n"
            f"yllcorner {made.transform.f - 10 * made.height:.6f}\ncellsize 10\n"
        )
    np.savetxt(tmp_path / "terrain.asc", values, fmt="%.5f", header=head.strip(), comments="")
    wkt = pyproj.CRS.from_epsg(27700).to_wkt("WKT1_ESRI")
    (tmp_path / "terrain.prj").write_text(wkt)
    holding = read(tmp_path, terrain={"elevation": "terrain.asc"})
    _assert_on_plane(holding)
    assert set(holding.inputs) == {"terrain.asc", "terrain.prj", "paddocks.geojson"}
    digest = hashlib.sha256((tmp_path / "terrain.asc").read_bytes()).hexdigest()
    assert holding.inputs["terrain.asc"] == digest


def test_heights_equal_rasterio_sampling_and_scipy_between_cells(tmp_path):
    write_holding(tmp_path, dem=False)
    rng = np.random.default_rng(5)

    def rough(easting, northing):
        return 200 + rng.normal(0, 3, easting.shape)

    path = write_dem(tmp_path / "terrain.tif", height=rough)
    surface = read(tmp_path).surface
    with rasterio.open(path) as dataset:
        step, values = dataset.transform, dataset.read(1)
        column, row = rng.integers(30, 90, 200), rng.integers(30, 70, 200)
        easting, northing = step.c + (column + 0.5) * step.a, step.f + (row + 0.5) * step.e
        sampled = [value[0] for value in dataset.sample(zip(easting, northing, strict=True))]
    np.testing.assert_allclose(surface.heights_m(easting, northing), sampled, atol=1e-9)
    centres = (
        step.f + step.e * (np.arange(values.shape[0]) + 0.5),
        step.c + step.a * (np.arange(values.shape[1]) + 0.5),
    )
    reference = RegularGridInterpolator((centres[0][::-1], centres[1]), values[::-1])
    easting, northing = _points()
    np.testing.assert_allclose(
        surface.heights_m(easting, northing),
        reference(np.column_stack([northing, easting])),
        atol=1e-8,
    )


def test_adjacent_tiles_join_without_a_seam(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "west.tif", corners=(-400, -400, 300, 600))
    write_dem(tmp_path / "east.tif", corners=(300, -400, 1000, 600))
    holding = read(tmp_path, terrain={"elevation": ["east.tif", "west.tif"]})
    _assert_on_plane(holding)
    assert len(holding.surface.layers) == 1


def test_mosaic_prefers_the_first_and_reports_the_finest_posting(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(
        tmp_path / "fine.tif",
        crs="EPSG:27700",
        posting=2.0,
        corners=(0, 0, 200, 200),
        height=lambda e, n: plane_m(e, n) + 5,
    )
    write_dem(tmp_path / "coarse.tif", **GEOGRAPHIC, unit="m")
    surface = read(tmp_path, terrain={"elevation": ["fine.tif", "coarse.tif"]}).surface
    inside, outside = (EAST + 100, NORTH + 100), (EAST + 400, NORTH + 100)
    assert surface.heights_m(*inside) == pytest.approx(plane_m(*inside) + 5, abs=2e-3)
    assert surface.heights_m(*outside) == pytest.approx(plane_m(*outside), abs=2e-3)
    assert surface.posting_m == pytest.approx(2.0, rel=1e-3)


def test_posting_of_a_raster_in_degrees(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", **GEOGRAPHIC, unit="m")
    geod = pyproj.Geod(ellps="WGS84")
    across = geod.inv(-2.2, 53.9, -2.2 + 1e-4, 53.9)[2]
    down = geod.inv(-2.2, 53.9, -2.2, 53.9 + 1e-4)[2]
    assert read(tmp_path).surface.posting_m == pytest.approx(np.sqrt(across * down), rel=2e-3)


def test_virtual_raster_and_the_digests_of_its_members(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "member.tif")
    rasterio.shutil.copy(tmp_path / "member.tif", tmp_path / "terrain.vrt", driver="VRT")
    holding = read(tmp_path, terrain={"elevation": "terrain.vrt"})
    _assert_on_plane(holding)
    assert {"terrain.vrt", "member.tif"} <= set(holding.inputs)


def test_of_a_mosaic_only_the_members_under_the_holding_are_recorded(tmp_path):
    write_holding(tmp_path, dem=False)
    corners = {"here": (-500, -500, 1500, 1500), "far": (9000, -500, 11_000, 1500)}
    sources = ""
    for name, (west, south, east, north) in corners.items():
        write_dem(tmp_path / f"{name}.tif", corners=(west, south, east, north), posting=10.0)
        sources += (
            f'<SimpleSource><SourceFilename relativeToVRT="1">{name}.tif</SourceFilename>'
            '<SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="200" ySize="200"/>'
            f'<DstRect xOff="{(west + 500) / 10:.0f}" yOff="0" xSize="200" ySize="200"/>'
            "</SimpleSource>"
        )
    with rasterio.open(tmp_path / "here.tif") as data:
        step, crs = data.transform.to_gdal(), data.crs.to_string()
    (tmp_path / "terrain.vrt").write_text(
        f'<VRTDataset rasterXSize="1150" rasterYSize="200"><SRS>{crs}</SRS>'
        f"<GeoTransform>{', '.join(map(str, step))}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>'
        f"<UnitType>metre</UnitType>{sources}</VRTRasterBand></VRTDataset>"
    )
    holding = read(tmp_path, terrain={"elevation": "terrain.vrt"})
    _assert_on_plane(holding)
    rasters_read = {name for name in holding.inputs if name.endswith((".tif", ".vrt"))}
    assert rasters_read == {"terrain.vrt", "here.tif"}


def test_a_large_raster_is_recorded_by_the_heights_read(tmp_path, monkeypatch):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif")
    whole = read(tmp_path).inputs
    monkeypatch.setattr(files, "LARGEST_WHOLE_BYTES", 100)
    first, again = read(tmp_path).inputs, read(tmp_path).inputs
    assert first == again
    assert "terrain.tif" in whole
    assert "terrain.tif" not in first
    digest = first["terrain.tif (heights read)"]
    assert digest != whole["terrain.tif"]
    write_dem(tmp_path / "terrain.tif", height=lambda x, y: plane_m(x, y) + 1.0)
    assert read(tmp_path).inputs["terrain.tif (heights read)"] != digest


def test_only_the_window_needed_is_read(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", corners=(-9000, -9000, 9000, 9000), posting=20.0)
    (layer,) = read(tmp_path).surface.layers
    rows, columns = layer.values.shape
    # 600 m by 250 m of paddocks and source; 500 m to look for a tank in and two cells of 20 m on
    # each side.
    assert columns <= (600 + 1000) / 20 + 6
    assert rows <= (250 + 1000) / 20 + 6


def test_a_window_beyond_memory_is_averaged_and_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(rasters, "LARGEST_WINDOW_CELLS", 2_000)
    write_holding(tmp_path)
    holding = read(tmp_path)
    assert holding.surface.layers[0].values.size <= 2_100
    assert any("averaged" in text for text in holding.warnings)
    # On a plane the mean of a block is the height at its middle: only whole blocks keep that.
    _assert_on_plane(holding, 0.15)


def test_south_up_and_rotated_rasters(tmp_path):
    write_holding(tmp_path, dem=False)
    turn = np.radians(20)
    step = 10.0
    transform = Affine(
        step * np.cos(turn),
        step * np.sin(turn),
        EAST - 900,
        step * np.sin(turn),
        -step * np.cos(turn),
        NORTH + 700,
    )
    column, row = np.meshgrid(np.arange(250) + 0.5, np.arange(250) + 0.5)
    easting = transform.a * column + transform.b * row + transform.c
    northing = transform.d * column + transform.e * row + transform.f
    for name, order, placed in (
        ("turned.tif", slice(None), transform),
        (
            "south_up.tif",
            slice(None, None, -1),
            Affine(step, 0, EAST - 900, 0, step, NORTH - 1200),
        ),
    ):
        values = plane_m(easting, northing)
        if name == "south_up.tif":
            values = plane_m(EAST - 900 + column * step, NORTH - 1200 + row * step)
            order = slice(None)
        with rasterio.open(
            tmp_path / name,
            "w",
            driver="GTiff",
            width=250,
            height=250,
            count=1,
            dtype="float64",
            crs=UTM,
            transform=placed,
        ) as target:
            target.write(values[order], 1)
        _assert_on_plane(read(tmp_path, terrain={"elevation": name}), 1e-6)


def test_datasets_handed_over_stay_open(tmp_path):
    write_dem(tmp_path / "terrain.tif")
    project = project_from_dict(settings(terrain=None, paddocks=None), folder=tmp_path)
    data = (tmp_path / "terrain.tif").read_bytes()
    with (
        MemoryFile(data) as memory,
        memory.open() as dataset,
        WarpedVRT(dataset, crs="EPSG:25830") as warped,
    ):
        holding = read_holding(project, paddocks=squares(), elevation=dataset)
        _assert_on_plane(holding)
        assert set(holding.inputs) == {"elevation 1", "paddocks (GeoDataFrame)"}
        assert all(len(digest) == 64 for digest in holding.inputs.values())
        _assert_on_plane(read_holding(project, paddocks=squares(), elevation=[dataset]))
        _assert_on_plane(read_holding(project, paddocks=squares(), elevation=warped), 0.6)
        assert not dataset.closed


def test_small_gap_is_filled_and_told(tmp_path):
    write_holding(tmp_path, dem=False)

    def hole(values):
        values[45:47, 45:47] = -9999

    write_dem(tmp_path / "terrain.tif", nodata=-9999, change=hole)
    holding = read(tmp_path, terrain={"missing_share_limit": 0.05})
    assert any('"Top Field"' in text and "missing" in text for text in holding.warnings)
    # Linear ground comes back from inverse-distance filling within a fraction of the rise.
    _assert_on_plane(holding, 0.3)


@pytest.mark.parametrize("empty", [-9999.0, np.nan])
def test_large_gap_is_a_fault_with_paddock_and_share(tmp_path, empty):
    write_holding(tmp_path, dem=False)

    def hole(values):
        values[40:60, 60:65] = empty  # a quarter of Low Field, 200 m to 250 m east

    write_dem(tmp_path / "terrain.tif", nodata=empty, change=hole)
    (fault,) = faults(tmp_path)
    assert 'feature 2 ("Low Field"): lies on ground without heights' in fault
    share = float(fault.split("found ")[1].split(" %")[0])
    assert share == pytest.approx(25, abs=1.5)
    assert "expected at most 2 %" in fault


def test_undeclared_nodata_codes_are_unknown(tmp_path):
    write_holding(tmp_path, dem=False)

    def code(values):
        values[:, :3] = -32768

    write_dem(tmp_path / "terrain.tif", change=code, corners=(-60, -400, 1000, 600))
    holding = read(tmp_path)
    assert any("heights that no land has" in text for text in holding.warnings)
    assert np.nanmin(holding.surface.layers[0].values) > 0


def test_internal_mask_is_honoured(tmp_path):
    write_holding(tmp_path, dem=False)
    path = write_dem(tmp_path / "terrain.tif")
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(path, "r+") as dataset:
        mask = np.full((dataset.height, dataset.width), 255, dtype=np.uint8)
        mask[40:60, 60:80] = 0
        dataset.write_mask(mask)
    (fault,) = faults(tmp_path)
    assert '"Low Field"' in fault
    assert "found 100.0 %" in fault


# --- heights that are there and are doubtful -----------------------------------------------------


def test_zeros_among_high_ground_are_told_and_kept(tmp_path):
    def fill(stored):
        stored[16:20] = 0.0  # 160 to 200 m north of the paddocks

    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", change=fill)
    holding = read(tmp_path)
    told = [text for text in holding.warnings if "exactly 0 m" in text]
    assert len(told) == 1
    assert "set it as the nodata value" in told[0]


def test_zeros_beside_the_sea_are_not_told(tmp_path):
    write_holding(tmp_path, dem=False)
    write_dem(
        tmp_path / "terrain.tif", height=lambda x, y: np.maximum(0.0, 0.05 * (x - 552_000.0))
    )
    assert not any("exactly 0 m" in text for text in read(tmp_path).warnings)


@pytest.mark.parametrize(("posting", "told"), [(90.0, False), (110.0, True)])
def test_heights_too_far_apart_for_the_paddocks_are_told(tmp_path, posting, told):
    # The squares are 200 m across, so two heights across one take a posting of 100 m.
    write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", posting=posting)
    assert any("one height every" in text for text in read(tmp_path).warnings) == told
