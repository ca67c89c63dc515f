"""Result files of a command area: what they hold, that they agree, and that they repeat."""

from __future__ import annotations

import csv
import json
import re
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

import farms
from dewpond import CommandArea, command_area, load_project, write_command_area
from dewpond.base.errors import InputError, OutputError
from dewpond.cli import run
from dewpond.outputs.command.raster import BANDS, NODATA
from dewpond.outputs.drawing.command import ALPHA, SHADES
from dewpond.outputs.drawing.symbols import laid_over

FIELDS = farms.squares(2, 2, 200.0)
FILES = [
    "command-area.csv", "command-area.geojson", "command-area.tif", "maps/command-area.png",
    "summary.json",
]  # fmt: skip


def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 100.0 + 0.12 * np.maximum(0.0, y - farms.SOUTH - 150.0) + 0.01 * (x - farms.WEST)


@pytest.fixture(scope="module")
def area() -> CommandArea:
    """Two low fields that are served, two on the hill that are in part; no heights far out."""
    with farms.ground(FIELDS, hill) as data:
        return command_area(
            farms.project(
                source=[{"name": "tank", "kind": "header_tank", "crs": farms.CRS,
                         "at": [farms.WEST, farms.SOUTH + 260], "height_above_ground_m": 2.0}],
                terrain={"height_standard_deviation_m": 0.5},
                supply={"tank_search_m": 80.0},
            ),
            {"paddocks": ["field 1", "field 2", "field 3"], "tank_sites": 2},
            paddocks=farms.table(FIELDS), elevation=data,
        )  # fmt: skip


@pytest.fixture(scope="module")
def folder(area: CommandArea, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("command") / "result"
    write_command_area(area, target)
    return target


def test_files_and_that_they_repeat(area: CommandArea, folder: Path, tmp_path: Path) -> None:
    found = sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()
    )
    assert found == FILES
    assert sorted(json.loads((folder / "summary.json").read_text("utf-8"))["files"]) == FILES
    write_command_area(area, tmp_path / "again")
    for name in FILES:
        assert (folder / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_raster_is_what_was_found(area: CommandArea, folder: Path) -> None:
    ground = area.ground
    with rasterio.open(folder / "command-area.tif") as data:
        assert data.count == len(BANDS)
        assert data.crs.to_epsg() == 27700
        assert data.nodata == NODATA
        assert data.transform == ground.spare_m.transform
        assert set(data.dtypes) == {"float32"}
        for number, (name, description, unit) in enumerate(BANDS, start=1):
            assert data.descriptions[number - 1] == f"{name}: {description}"
            assert data.units[number - 1] == unit
            values = data.read(number, masked=True).filled(np.nan)
            np.testing.assert_allclose(values, getattr(ground, name).values, rtol=1e-6, atol=1e-30)
        assert data.read_masks(1).min() == 0, "beyond the heights"
        # A point through GDAL's own placement against the grid's.
        x, y = farms.WEST + 102.5, farms.SOUTH + 102.5
        (sampled,) = data.sample([(x, y)])
        row, column = data.index(x, y)
        assert sampled[0] == pytest.approx(ground.residual_head_m.values[row, column], rel=1e-6)


def test_features_agree_with_raster_and_table(area: CommandArea, folder: Path) -> None:
    features = gpd.read_file(folder / "command-area.geojson", engine="pyogrio").to_crs(27700)
    kinds = features["kind"].value_counts()
    assert kinds["paddock"] == 4
    assert kinds["source"] == 1
    assert kinds["tank_site"] == len(area.ground.tanks) > 0
    ground = features[features["kind"] == "commanded_ground"]
    assert ground.geometry.is_valid.all()
    # Classes part each paddock, and their areas are the shares within a row of cells.
    for _label, paddock in area.ground.paddocks.iterrows():
        own = ground[ground["paddock"] == paddock["name"]]
        assert own.geometry.area.sum() / 1e4 == pytest.approx(4.0, rel=1e-3)
        sure = own[own["served"] == "surely"].geometry.area.sum() / 1e4 / 4.0
        assert sure == pytest.approx(paddock["surely_share"], abs=0.03)
    assert shapely.area(ground.union_all()) == pytest.approx(160_000, rel=1e-3)
    assert set(ground["served"]) >= {"surely", "not"}


def test_table_for_a_spreadsheet(area: CommandArea, folder: Path) -> None:
    with (folder / "command-area.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert [row["name"] for row in rows] == list(area.ground.paddocks["name"])
    assert [row["commanded"] for row in rows] == [
        "yes" if value else "no" for value in area.ground.paddocks["commanded"]
    ]
    assert [row["chosen"] for row in rows] == ["yes", "yes", "yes", "no"]
    for row, share in zip(rows, area.ground.paddocks["commanded_share"], strict=True):
        assert float(row["commanded_share"]) == pytest.approx(share, abs=6e-5)


def test_page_names_every_column_and_key(area: CommandArea, folder: Path, root: Path) -> None:
    page = (root / "docs" / "reference" / "result-files.md").read_text("utf-8")
    (section,) = re.findall(r"^## Command area\n(.*?)(?=^## |\Z)", page, re.M | re.S)
    named = set(re.findall(r"`([^`]+)`", section))
    summary = json.loads((folder / "summary.json").read_text("utf-8"))
    features = json.loads((folder / "command-area.geojson").read_text("utf-8"))["features"]
    keys = set(summary) | {key for feature in features for key in feature["properties"]}
    keys |= {name for name, _description, _unit in BANDS}
    assert keys - named == set()


def test_a_folder_with_other_files_is_left_alone(area: CommandArea, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"notes\.txt"):
        write_command_area(area, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_nothing_is_left_half_written(
    area: CommandArea, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("dewpond.outputs.write_raster", fail)
    with pytest.raises(OutputError, match="No space left"):
        write_command_area(area, tmp_path / "result")
    assert list(tmp_path.iterdir()) == []


def lightness(colour: tuple[float, float, float]) -> float:
    """CIE L* of a colour in sRGB (IEC 61966-2-1)."""
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in colour
    ]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * luminance ** (1 / 3) - 16


def test_map_reads_in_grey() -> None:
    """Laid over bright relief each class is lighter than the one before, bare ground lightest."""
    bare = 0.94
    shades = [laid_over(shade, ALPHA, bare) for shade in SHADES]
    levels = [lightness(colour) for colour in (*shades, (bare, bare, bare))]
    assert all(light - dark > 10 for dark, light in pairwise(levels)), levels


def test_map_reads_for_the_colour_blind() -> None:
    """Classes stay apart by 15 in CIE L*a*b* for the two common kinds, simulated.

    Matrices of Machado, Oliveira and Fernandes 2009 for full deuteranomaly and protanomaly (from
    memory), on linear light; colour difference CIE 1976 by scikit-image.
    """
    from skimage.color import deltaE_cie76, rgb2lab

    matrices = {
        "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                   [-0.003882, -0.048116, 1.051998]],
        "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                   [-0.011820, 0.042940, 0.968881]],
    }  # fmt: skip
    colours = [*(laid_over(shade, ALPHA, 0.94) for shade in SHADES), (0.94, 0.94, 0.94)]
    rgb = np.array(colours)
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    for matrix in matrices.values():
        seen = np.clip(linear @ np.array(matrix).T, 0, 1)
        seen = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
        lab = rgb2lab(seen[None])[0]
        for one in range(len(lab)):
            for two in range(one):
                assert deltaE_cie76(lab[one], lab[two]) > 15


class TestCommand:
    def test_codes_and_json(self, sample_project: Path, tmp_path: Path) -> None:
        met = ["command-area", str(sample_project), "-o", str(tmp_path / "a"), "--source",
               "road main", "--paddock", "Road Piece"]  # fmt: skip
        assert run(met) == 0
        assert run([*met[:-1], "Top Feild"]) == 2
        short = ["command-area", str(sample_project), "-o", str(tmp_path / "b"), "--source",
                 "road main", "--class", "PN 12.5"]  # fmt: skip
        assert run(short) == 1

    def test_json_goes_to_stdout(
        self, sample_project: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        arguments = ["command-area", str(sample_project), "-o", str(tmp_path / "a"), "--json",
                     "--flow", "6", "--head", "2.5", "--pipe-diameter", "25"]  # fmt: skip
        run(arguments)
        summary = json.loads(capsys.readouterr().out)
        assert summary["asked"]["flow_l_min"] == 6.0
        assert summary["asked"]["head_m"] == 2.5
        assert summary["pipe"]["outside_diameter_mm"] == 25.0

    @pytest.mark.parametrize(
        ("option", "word"),
        [
            (["--source", "road mian"], 'did you mean "road main"?'),
            (["--pipe-diameter", "33"], "the table of pipe has none like it"),
            (["--class", "thick"], "give bar"),
            (["--flow", "-3"], "greater than 0"),
            (["--material", "PE200"], 'has no "PE200"'),
        ],
    )
    def test_bad_input_is_told_and_nothing_written(
        self,
        sample_project: Path,
        tmp_path: Path,
        option: list[str],
        word: str,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        arguments = ["command-area", str(sample_project), "-o", str(tmp_path / "a"), *option]
        assert run(arguments) == 2
        assert word in capsys.readouterr().err
        assert list(tmp_path.iterdir()) == []


def test_files_stay_metric_whatever_the_documents_print(
    sample_project: Path, tmp_path: Path
) -> None:
    project = load_project(sample_project)
    customary = project.model_copy(
        update={"documents": project.documents.model_copy(update={"units": "US customary"})}
    )
    for name, chosen in (("a", project), ("b", customary)):
        write_command_area(command_area(chosen, {"cell_m": 20.0}), tmp_path / name)
    for file in ("command-area.csv", "command-area.geojson", "command-area.tif"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
    picture = "maps/command-area.png"
    assert (tmp_path / "a" / picture).read_bytes() != (tmp_path / "b" / picture).read_bytes()
