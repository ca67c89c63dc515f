"""The command as a user meets it: exit codes, what is said, results as JSON, help at once."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from batch import synthetic
from dewpond.cli import run


def test_all_met_some_short_some_failed(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = Path(shutil.copytree(made, tmp_path / "given"))
    met = "holding-00001"  # its figures are in the other tests: nothing falls short
    one = tmp_path / "one"
    one.mkdir()
    for name in ("terrain.tif", f"{met}.toml", f"{met}.geojson"):
        shutil.copy(given / name, one / name)
    arguments = ["-o", str(tmp_path / "out"), "--processes", "1"]
    assert run(["batch", str(one), *arguments, "--json"]) == 0
    told = capsys.readouterr()
    record = json.loads(told.out)
    assert record["by_status"] == {"met": 1}
    assert record["totals"]["cost"] > 0
    assert "1 holding: 1 meets every requirement, 0 fall short, 0 failed" in told.err
    (one / "bad.toml").write_text("nothing = 1\n")
    assert run(["batch", str(one), *arguments]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "FAILED: bad: " in told.err
    assert "1 stood already" in told.err


def test_faults_of_the_batch_itself_are_code_2(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(tmp_path / "out")
    assert run(["batch", str(tmp_path / "none"), "-o", out]) == 2
    assert "is not a folder" in capsys.readouterr().err
    assert run(["batch", str(made), "-o", out, "--processes", "0"]) == 2
    assert "--processes" in capsys.readouterr().err
    assert run(["batch", str(made), "-o", out, "--holdings", "x.gpkg"]) == 2
    assert "give --holding-field" in capsys.readouterr().err


def test_layers_of_a_file_with_several_are_named(tmp_path: Path) -> None:
    template = synthetic.write_template(tmp_path / "given", 1)
    given = tmp_path / "given"
    code = run([
        "batch", str(template), "-o", str(tmp_path / "out"), "--processes", "1",
        "--holdings", str(given / "fields.gpkg"), "--holdings-layer", "fields",
        "--holding-field", "holding",
        "--sources", str(given / "sources.gpkg"), "--sources-layer", "sources",
    ])  # fmt: skip
    assert code in (0, 1)
    assert (tmp_path / "out" / "results.gpkg").is_file()


def test_help_imports_nothing_heavy() -> None:
    """What makes help slow is what it imports, so that is what is checked, not the clock."""
    code = (
        "import sys; from dewpond.cli import run; run(['batch', '--help']);"
        "print([name for name in ('numpy', 'pandas', 'pydantic', 'distributed', 'pyarrow', "
        "'matplotlib') if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "--cluster" in done.stdout
