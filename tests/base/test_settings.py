"""The project file: every fault of form at once, each with the key as it stands in the file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel, ValidationError

from dewpond.base.errors import InputError
from dewpond.base.settings import Project, load_project, project_from_dict

SOUND = """
[holding]
name = "Harrowmere"
[terrain]
elevation = "terrain.tif"
[paddocks]
boundaries = "paddocks.geojson"
[[mob]]
name = "sucklers"
species = "cattle"
head = 52
weight_kg = 640.0
[[source]]
name = "road main"
kind = "mains"
at = [-2.101, 54.012]
"""


def _load(folder: Path, text: str) -> Project:
    path = folder / "holding.toml"
    path.write_text(text, encoding="utf-8")
    return load_project(path)


def _faults(folder: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        _load(folder, text)
    return [str(fault).removeprefix(f"{folder}/") for fault in caught.value.faults]


def _only(texts: list[str]) -> str:
    assert len(texts) == 1, texts
    return texts[0]


def test_sound_file_and_its_defaults(tmp_path):
    project = _load(tmp_path, SOUND)
    assert project.holding.name == "Harrowmere"
    assert project.folder == tmp_path
    assert project.mob[0].paddocks == "all"
    assert project.source[0].at == (-2.101, 54.012)
    assert project.source[0].crs == "EPSG:4326"
    assert project.design.walk_limit_m == 400.0
    assert "folder" not in project.model_dump(mode="json")


def test_whole_numbers_stand_for_decimals(tmp_path):
    assert _load(tmp_path, SOUND.replace("640.0", "640")).mob[0].weight_kg == 640.0
    assert _load(tmp_path, SOUND.replace("-2.101, 54.012", "-2, 54")).source[0].at == (-2, 54)


def test_project_is_frozen(tmp_path):
    project = _load(tmp_path, SOUND)
    with pytest.raises(ValidationError, match="frozen"):
        project.design.walk_limit_m = 1.0


def test_typo_in_a_key_names_the_nearest(tmp_path):
    text = _only(_faults(tmp_path, SOUND + "[design]\nwalk_limt_m = 300\n"))
    assert text == (
        'holding.toml, [design], walk_limt_m: is not a known key; did you mean "walk_limit_m"?'
    )


def test_typo_in_a_table_names_the_nearest(tmp_path):
    text = _only(_faults(tmp_path, SOUND + "[dessign]\nwalk_limit_m = 300\n"))
    assert "is not a known key" in text
    assert 'did you mean "design"?' in text


def test_limit_of_zero(tmp_path):
    text = _only(_faults(tmp_path, SOUND + "[design]\nwalk_limit_m = 0\n"))
    assert text.startswith("holding.toml, [design], walk_limit_m: ")
    assert "found 0" in text
    assert "expected greater than 0" in text.replace("should be ", "")


@pytest.mark.parametrize(
    ("old", "new", "place", "parts"),
    [
        ("head = 52", 'head = "many"', "[[mob]] 1, head", ["found 'many'", "integer"]),
        ("head = 52", "", "[[mob]] 1, head", ["is missing", "Number of animals"]),
        ('"cattle"', '"catle"', "[[mob]] 1, species", ["found 'catle'", "'cattle'"]),
        ("640.0", "-1", "[[mob]] 1, weight_kg", ["greater than 0"]),
        ("640.0", "nan", "[[mob]] 1, weight_kg", ["finite"]),
        ("[-2.101, 54.012]", "[1.0]", "[[source]] 1, at", []),
        ('name = "Harrowmere"', 'name = ""', "[holding], name", ["at least 1 character"]),
        (
            '"terrain.tif"',
            "7",
            "[terrain], elevation",
            ["found 7", "a valid string or a valid list"],
        ),
        ('"terrain.tif"', '["a.tif", 7]', "[terrain], elevation 2", ["found 7"]),
    ],
)
def test_value_that_will_not_do(tmp_path, old, new, place, parts):
    text = _only(_faults(tmp_path, SOUND.replace(old, new)))
    assert place in text
    for part in parts:
        assert part in text


def test_union_of_path_and_table_reports_one_fault(tmp_path):
    text = _only(_faults(tmp_path, SOUND + "[features]\ngates = 5\n"))
    assert "[features], gates" in text
    good = _load(tmp_path, SOUND + '[features]\ngates = {path = "a.gpkg", layer = "g"}\n')
    assert good.features.gates.layer == "g"
    text = _only(_faults(tmp_path, SOUND + '[features]\ngates = {path = "a", lyer = "g"}\n'))
    assert "lyer" in text
    assert 'did you mean "layer"?' in text


def test_all_faults_at_once(tmp_path):
    bad = SOUND.replace("head = 52", "head = 0").replace('"mains"', '"tap"')
    texts = _faults(tmp_path, bad + "[design]\nwalk_limit_m = -3\ncolour = 1\n")
    assert len(texts) == 4
    assert [text.split(": ")[0].split(", ", 1)[1] for text in texts] == [
        "[[mob]] 1, head",
        "[[source]] 1, kind",
        "[design], walk_limit_m",
        "[design], colour",
    ]


def test_second_mob_is_counted_from_one(tmp_path):
    second = '[[mob]]\nname = "ewes"\nspecies = "sheep"\nhead = 0\nweight_kg = 70\n'
    assert "[[mob]] 2, head" in _only(_faults(tmp_path, SOUND + second))


def test_names_that_stand_twice(tmp_path):
    again = SOUND[SOUND.index("[[mob]]") :]
    texts = _faults(tmp_path, SOUND + again)
    assert len(texts) == 2
    assert '[[mob]]: the name "sucklers" stands 2 times' in texts[0]
    assert '[[source]]: the name "road main" stands 2 times' in texts[1]


def test_unknown_source_of_the_design(tmp_path):
    text = _only(_faults(tmp_path, SOUND + '[design]\nsource = "road man"\n'))
    assert 'found "road man"; did you mean "road main"?' in text


def test_half_a_bucket(tmp_path):
    text = _only(_faults(tmp_path, SOUND + "bucket_l = 12.0\n"))
    assert "[[source]] 1" in text
    assert "needs both bucket_l and bucket_s" in text


def test_broken_toml_names_the_line(tmp_path):
    assert "line 3" in _only(_faults(tmp_path, SOUND.replace('name = "Harrowmere"', "name =", 1)))


def test_files_that_are_no_project(tmp_path):
    with pytest.raises(InputError, match=r"cannot be read .*check the path"):
        load_project(tmp_path / "gone.toml")
    latin = tmp_path / "latin.toml"
    latin.write_bytes('[holding]\nname = "Düne"'.encode("latin-1"))
    with pytest.raises(InputError, match="is not UTF-8 text"):
        load_project(latin)
    with pytest.raises(InputError, match="cannot be read"):
        load_project(tmp_path)


def test_byte_order_mark_is_forgiven(tmp_path):
    path = tmp_path / "holding.toml"
    path.write_text(SOUND, encoding="utf-8-sig")
    assert load_project(path).holding.name == "Harrowmere"


def test_folder_is_no_table():
    with pytest.raises(InputError, match="folder"):
        project_from_dict({"folder": "x"})


def _models(model: type[BaseModel]) -> list[type[BaseModel]]:
    found = [model]
    for field in model.model_fields.values():
        queue = [field.annotation]
        while queue:
            item = queue.pop()
            if isinstance(item, type) and issubclass(item, BaseModel):
                found.extend(_models(item))
            queue.extend(get_args(item))
    return found


def test_every_setting_is_described():
    missing = [
        f"{model.__name__}.{name}"
        for model in _models(Project)
        if model is not Project
        for name, field in model.model_fields.items()
        if not (field.description or "").endswith(".")
    ]
    assert missing == []


def test_json_schema_is_valid_json_and_holds_every_table():
    schema = json.loads(json.dumps(Project.model_json_schema()))
    assert {"holding", "terrain", "paddocks", "features", "mob", "source", "design"} <= set(
        schema["properties"]
    )


def test_more_outlets_at_least_than_at_most_is_refused(tmp_path):
    limits = "[layout]\nleast_outlets_per_paddock = 3\nmost_outlets_per_paddock = 2\n"
    assert "the most cannot be fewer than the least" in _only(_faults(tmp_path, SOUND + limits))
