"""The commands as a user meets them: exit codes, messages, and nothing half-written."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import rasterio.warp
from rasterio.transform import from_origin
from shapely.geometry import Polygon

from dewpond.cli import run

COMMANDS = ["plan", "check", "demand", "compare", "command-area", "batch", "template", "schema"]


@pytest.fixture
def sample(tmp_path: Path, root: Path) -> Path:
    """Return a scratch copy of the sample folder that a test may spoil."""
    folder = tmp_path / "farm"
    shutil.copytree(root / "sample_data", folder)
    return folder


def edit(folder: Path, old: str, new: str) -> None:
    path = folder / "holding.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} does not stand in the sample project file"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def far_terrain(folder: Path) -> None:
    write_raster(folder / "terrain.tif", "EPSG:27700", np.full((50, 50), 10.0))


def no_crs(folder: Path) -> None:
    paddocks = gpd.read_file(folder / "paddocks.geojson").to_crs(27700)
    paddocks.to_file(folder / "paddocks.shp")
    (folder / "paddocks.prj").unlink()
    edit(folder, '"paddocks.geojson"', '"paddocks.shp"')


def unknown_height_unit(folder: Path) -> None:
    # Degrees say nothing of the unit of height, and the file states none.
    with rasterio.open(folder / "terrain.tif") as data:
        west, south, east, north = rasterio.warp.transform_bounds(data.crs, 4326, *data.bounds)
    cell = 0.0005
    shape = (int((north - south) / cell), int((east - west) / cell))
    edit(folder, 'height_unit = "metre"\n', "")
    write_raster(folder / "terrain.tif", "EPSG:4326", np.full(shape, 9.0), west, north, cell)


def all_nodata(folder: Path) -> None:
    with rasterio.open(folder / "terrain.tif", "r+") as data:
        band = data.read(1)
        nodata = data.nodata if data.nodata is not None else -9999
        data.nodata = nodata
        data.write(np.full_like(band, nodata), 1)


def empty_file(folder: Path) -> None:
    (folder / "paddocks.geojson").write_bytes(b"")


def unknown_paddock(folder: Path) -> None:
    """Give the first mob a paddock that no boundary bears."""
    text = (folder / "holding.toml").read_text(encoding="utf-8")
    head, first, rest = re.split(r"^\[\[mob\]\]\n", text, maxsplit=2, flags=re.MULTILINE)
    first = re.sub(r"^paddocks = .*?\n", "", first, flags=re.MULTILINE)
    mobs = f'[[mob]]\npaddocks = ["Nowhere Field"]\n{first}[[mob]]\n{rest}'
    (folder / "holding.toml").write_text(head + mobs, encoding="utf-8")


def far_source(folder: Path) -> None:
    source = tomllib.loads((folder / "holding.toml").read_text(encoding="utf-8"))["source"][0]
    east, north = source["at"]
    edit(folder, f"at = [{east}, {north}]", f"at = [{east + 300_000.0}, {north}]")


def beyond_repair(folder: Path) -> None:
    paddocks = gpd.read_file(folder / "paddocks.geojson")
    west, south, east, north = paddocks.geometry.iloc[0].bounds
    bow = Polygon([(west, south), (east, north), (east, south), (west, north)])
    paddocks.loc[0, "geometry"] = bow
    paddocks.to_file(folder / "paddocks.geojson", driver="GeoJSON")


def typo(folder: Path) -> None:
    edit(folder, "walk_limit_m", "walk_limt_m")


def zero_limit(folder: Path) -> None:
    limit = tomllib.loads((folder / "holding.toml").read_text(encoding="utf-8"))["design"]
    edit(folder, f"walk_limit_m = {limit['walk_limit_m']}", "walk_limit_m = 0")


def write_raster(
    path: Path, crs: str, values: np.ndarray, west: float = 0, north: float = 0, cell: float = 5
) -> None:
    path.unlink()
    with rasterio.open(
        path, "w", driver="GTiff", height=values.shape[0], width=values.shape[1], count=1,
        dtype="float32", crs=crs, transform=from_origin(west, north, cell, cell),
    ) as data:  # fmt: skip
        data.write(values.astype("float32"), 1)


BAD = {
    "no overlap": (far_terrain, ["terrain.tif", "paddocks"]),
    "missing CRS": (no_crs, ["paddocks.shp", "CRS"]),
    "unknown height unit": (unknown_height_unit, ["terrain.tif", "height_unit"]),
    "all nodata": (all_nodata, ["terrain.tif"]),
    "empty file": (empty_file, ["paddocks.geojson"]),
    "unknown paddock": (unknown_paddock, ["Nowhere Field", "[[mob]] 1"]),
    "far source": (far_source, ["[[source]] 1", "km"]),
    "beyond repair": (beyond_repair, ["paddocks.geojson", "feature 1"]),
    "typo": (typo, ["walk_limt_m", 'did you mean "walk_limit_m"?']),
    "zero limit": (zero_limit, ["[design], walk_limit_m", "greater than 0"]),
}


@pytest.mark.parametrize(("spoil", "words"), BAD.values(), ids=BAD.keys())
def test_bad_input_gives_one_clear_message(
    spoil: Callable[[Path], None],
    words: list[str],
    sample: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    spoil(sample)
    output = sample / "out"
    assert run(["plan", str(sample / "holding.toml"), "-o", str(output)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    lines = [line for line in told.err.splitlines() if line.startswith("error: ")]
    assert len(lines) == 1, told.err
    for word in words:
        assert word in lines[0]
    assert not output.exists()


def test_all_faults_come_at_once(sample: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unknown_paddock(sample)
    far_source(sample)
    all_nodata(sample)
    assert run(["check", str(sample / "holding.toml")]) == 2
    errors = [line for line in capsys.readouterr().err.splitlines() if line.startswith("error: ")]
    assert len(errors) == 3


def test_a_folder_with_other_files_is_refused_before_planning(
    sample: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def planned(*_: object, **__: object) -> None:
        raise AssertionError("planning began")

    monkeypatch.setattr("dewpond.plan.plan_holding", planned)
    assert run(["plan", str(sample / "holding.toml"), "-o", str(sample)]) == 2
    assert "holds files that are no part of an earlier result" in capsys.readouterr().err
    assert (sample / "holding.toml").exists()


def test_missing_project_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(tmp_path / "none.toml")]) == 2
    assert "check the path" in capsys.readouterr().err


def test_unknown_command_and_option_are_input_faults() -> None:
    assert run(["pland"]) == 2
    assert run(["plan", "--nonsense"]) == 2


def test_an_internal_fault_is_code_3(
    sample: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a slip")

    monkeypatch.setattr("dewpond.plan.check_holding", fail)
    assert run(["check", str(sample / "holding.toml")]) == 3
    assert "a fault in dewpond itself (ZeroDivisionError)" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*filter(None, [command]), "--help"]) == 0
    assert "Usage: dewpond" in capsys.readouterr().out


def test_template_is_a_valid_project(capsys: pytest.CaptureFixture[str]) -> None:
    from dewpond import project_from_dict

    assert run(["template"]) == 0
    project = project_from_dict(tomllib.loads(capsys.readouterr().out))
    assert project.holding.name == "Harrowmere"


def test_schema_accepts_what_the_reader_accepts(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema["additionalProperties"] is False
    assert {"holding", "mob", "source", "design"} <= set(schema["properties"])


def test_figures_are_told_in_the_units_of_the_documents(
    sample: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """6,882 L are 1,818 US gal, 52 cows of 640 kg weigh 1,411 lb each; only JSON stays metric."""
    project = sample / "holding.toml"
    project.write_text(project.read_text() + '\n[documents]\nunits = "US customary"\n')
    assert run(["demand", str(project)]) == 0
    told = capsys.readouterr()
    assert re.search(r"sucklers .* 1,411 .* 1,319 ", told.out)
    assert "US gal/min" in told.out
    assert " L/" not in told.out
    assert run(["check", str(project)]) == 0
    assert "narrower than 3.28 ft, 858 sq ft in all" in capsys.readouterr().out
    assert run(["demand", str(project), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["daily_demand_l"] == pytest.approx(6882)


def test_demand_as_json_adds_up(sample: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demand", str(sample / "holding.toml"), "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["daily_demand_l"] == pytest.approx(
        sum(mob["head"] * mob["litres_head_day"] for mob in record["mobs"])
    )


def test_demand_prints_both_tables(sample: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demand", str(sample / "holding.toml")]) == 0
    out = capsys.readouterr().out
    assert "by mob" in out
    assert "by paddock" in out


def test_help_answers_without_loading_the_heavy_libraries() -> None:
    code = (
        "import sys; from dewpond.cli import run; run(['--help']);"
        "print(sorted({'numpy', 'pandas', 'matplotlib', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
