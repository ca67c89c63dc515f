"""Writing the whole result: complete, repeatable, all or nothing."""

from __future__ import annotations

import errno
import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from hand_plan import make_plan
from PIL import Image

from dewpond import outputs
from dewpond.base.errors import InputError, OutputError
from dewpond.base.model import Plan
from dewpond.outputs import write_plan


@pytest.fixture(scope="module")
def written(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, ...]]:
    folder = tmp_path_factory.mktemp("out") / "deep" / "result"
    return folder, write_plan(plan, folder)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Write two small files instead of maps where only the moving is tested."""

    def writers(plan: Plan) -> dict[str, Any]:
        text = json.dumps(
            {"files": ["maps/plan.png", "summary.json"], "source": plan.holding.name}
        )
        return {
            "maps/plan.png": lambda path: path.write_bytes(b"map"),
            "summary.json": lambda path: path.write_text(text),
        }

    monkeypatch.setattr(outputs, "_writers", writers)


def tree(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


class TestFiles:
    def test_all_are_there_and_nothing_else(self, written: Any) -> None:
        folder, paths = written
        names = [path.relative_to(folder).as_posix() for path in paths]
        assert names == [
            "plan.geojson", "plan.gpkg", "maps/plan.png", "maps/pressure.png", "maps/reach.png",
            "plan-sheet.pdf", "proposal.html",
            "site/points.gpx", "site/points.csv", "quantities.xlsx", "quantities.csv",
            "maps/confidence.png", "confidence/influences.png", "confidence/survey.csv",
            "sections/01-road-main-to-outlet-2.png", "sections/02-road-main-to-outlet-4.png",
            "sections/all.png",
            "summary.json",
        ]  # fmt: skip
        assert sorted(names) == sorted(tree(folder))
        assert [path.name for path in folder.parent.iterdir()] == ["result"]

    def test_summary_lists_them(self, written: Any) -> None:
        folder, paths = written
        summary = json.loads((folder / "summary.json").read_text("utf-8"))
        assert summary["files"] == [path.relative_to(folder).as_posix() for path in paths]

    def test_pictures_are_pictures(self, written: Any) -> None:
        for path in written[1]:
            if path.suffix == ".png":
                with Image.open(path) as image:
                    assert min(image.size) > 600
                    assert not {"Software", "Creation Time"} & set(image.info)
                    assert len(image.convert("L").getcolors() or []) > 50

    def test_the_same_plan_gives_the_same_bytes(self, written: Any, tmp_path: Path) -> None:
        write_plan(make_plan(), tmp_path / "again")
        first, second = tree(written[0]), tree(tmp_path / "again")
        assert list(first) == list(second)
        assert [name for name in first if first[name] != second[name]] == []

    def test_harmful_names_break_neither_files_nor_drawings(self, tmp_path: Path) -> None:
        """Names in markup, sheets, paths, mathtext, other scripts, and far too long."""
        names = (
            "<script>alert('x')</script>",
            '=HYPERLINK("http://example.org")',
            "../../$\\frac{a}{b}$ 牧草地 \u0007\n",
            "Поле за рекой — " + "very long name " * 12,
        )
        plan = make_plan(names, source_name="../../etc/tap: $main\\$ 水")
        paths = write_plan(plan, tmp_path / "out")
        assert all(path.is_relative_to(tmp_path / "out") for path in paths)
        for path in paths:
            assert re.fullmatch(r"[a-z0-9.-]+", path.name)
        found = json.loads((tmp_path / "out" / "plan.geojson").read_text("utf-8"))["features"]
        assert [f["properties"]["name"] for f in found[:4]] == list(names)


@pytest.mark.usefixtures("quick")
class TestReplacing:
    def test_an_earlier_result_is_replaced_whole(self, plan: Plan, tmp_path: Path) -> None:
        (tmp_path / "out" / "sections").mkdir(parents=True)
        (tmp_path / "out" / "sections" / "09-old.png").write_bytes(b"old")
        (tmp_path / "out" / "summary.json").write_text(
            json.dumps({"files": ["sections/09-old.png", "summary.json"]})
        )
        write_plan(plan, tmp_path / "out")
        assert list(tree(tmp_path / "out")) == ["maps/plan.png", "summary.json"]
        assert [path.name for path in tmp_path.iterdir()] == ["out"]

    @pytest.mark.parametrize("extra", ["notes.txt", "maps/mine.png", "survey/levels.csv"])
    def test_files_of_the_user_are_never_deleted(
        self, plan: Plan, tmp_path: Path, extra: str
    ) -> None:
        write_plan(plan, tmp_path / "out")
        mine = tmp_path / "out" / extra
        mine.parent.mkdir(exist_ok=True)
        mine.write_text("mine")
        with pytest.raises(InputError, match=re.escape(extra)) as caught:
            write_plan(plan, tmp_path / "out")
        assert "another folder" in str(caught.value)
        assert mine.read_text() == "mine"

    def test_a_strange_folder_without_a_result_is_refused(
        self, plan: Plan, tmp_path: Path
    ) -> None:
        for i in range(8):
            (tmp_path / f"photo{i}.jpg").write_bytes(b"x")
        with pytest.raises(InputError, match=r"photo0.jpg.*and 3 more"):
            write_plan(plan, tmp_path)
        assert len(list(tmp_path.iterdir())) == 8

    @pytest.mark.parametrize("text", ["", "[]", "{}", '{"files": 3}', "{"])
    def test_a_summary_that_is_not_ours_protects_its_folder(
        self, plan: Plan, tmp_path: Path, text: str
    ) -> None:
        (tmp_path / "summary.json").write_text(text)
        with pytest.raises(InputError):
            write_plan(plan, tmp_path)
        assert (tmp_path / "summary.json").read_text() == text

    def test_by_products_of_desktop_programs_go_with_the_result(
        self, plan: Plan, tmp_path: Path
    ) -> None:
        write_plan(plan, tmp_path / "out")
        (tmp_path / "out" / "maps" / "plan.png.aux.xml").write_text("<x/>")
        (tmp_path / "out" / ".DS_Store").write_bytes(b"")
        write_plan(plan, tmp_path / "out")
        assert list(tree(tmp_path / "out")) == ["maps/plan.png", "summary.json"]

    def test_an_empty_folder_is_taken(self, plan: Plan, tmp_path: Path) -> None:
        (tmp_path / "out").mkdir()
        write_plan(plan, tmp_path / "out", overwrite=False)
        assert (tmp_path / "out" / "summary.json").is_file()

    def test_overwrite_can_be_forbidden(self, plan: Plan, tmp_path: Path) -> None:
        write_plan(plan, tmp_path / "out", overwrite=False)
        before = tree(tmp_path / "out")
        with pytest.raises(InputError, match="holds an earlier result"):
            write_plan(plan, tmp_path / "out", overwrite=False)
        assert tree(tmp_path / "out") == before

    def test_a_file_in_the_way_is_refused(self, plan: Plan, tmp_path: Path) -> None:
        (tmp_path / "out").write_text("x")
        with pytest.raises(InputError, match="is a file"):
            write_plan(plan, tmp_path / "out")

    def test_a_link_to_a_folder_stays_a_link(self, plan: Plan, tmp_path: Path) -> None:
        (tmp_path / "real").mkdir()
        (tmp_path / "out").symlink_to(tmp_path / "real")
        write_plan(plan, tmp_path / "out")
        assert (tmp_path / "out").is_symlink()
        assert (tmp_path / "real" / "summary.json").is_file()


class TestFailure:
    @pytest.fixture(params=["plan.geojson", "maps/reach.png", "summary.json"])
    def failing(self, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
        """Run out of disk while one of the files is written."""
        full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def half(path: Path) -> None:
            path.write_bytes(b"half a file")
            raise full

        names = ["plan.geojson", "maps/reach.png", "summary.json"]
        whole = {name: lambda path: path.write_bytes(b"whole") for name in names}
        monkeypatch.setattr(outputs, "_writers", lambda plan: {**whole, request.param: half})

    @pytest.mark.usefixtures("failing")
    def test_a_full_disk_leaves_the_earlier_result(self, plan: Plan, tmp_path: Path) -> None:
        old = tmp_path / "out"
        old.mkdir()
        (old / "summary.json").write_text('{"files": ["summary.json"]}')
        before = tree(tmp_path)
        with pytest.raises(OutputError, match=r"No space left on device.*nothing was changed"):
            write_plan(plan, old)
        assert tree(tmp_path) == before
        assert [path.name for path in tmp_path.iterdir()] == ["out"]

    @pytest.mark.usefixtures("failing")
    def test_a_full_disk_leaves_no_folders_behind(self, plan: Plan, tmp_path: Path) -> None:
        with pytest.raises(OutputError):
            write_plan(plan, tmp_path / "a" / "b" / "out")
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.usefixtures("quick")
    def test_a_failed_move_puts_the_old_result_back(
        self, plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        write_plan(plan, tmp_path / "out")
        before = tree(tmp_path)
        rename = Path.rename

        def refuse_new(self: Path, target: Any) -> Path:
            if self.name == "new":
                raise PermissionError(errno.EACCES, "file is open elsewhere")
            return rename(self, target)

        monkeypatch.setattr(Path, "rename", refuse_new)
        with pytest.raises(OutputError, match="file is open elsewhere"):
            write_plan(plan, tmp_path / "out")
        assert tree(tmp_path) == before

    def test_an_interrupt_leaves_nothing_half_written(
        self, plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def interrupt(path: Path) -> None:
            path.write_bytes(b"half")
            raise KeyboardInterrupt

        monkeypatch.setattr(outputs, "_writers", lambda plan: {"plan.geojson": interrupt})
        with pytest.raises(KeyboardInterrupt):
            write_plan(plan, tmp_path / "a" / "out")
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.usefixtures("quick")
    @pytest.mark.skipif(not Path("/proc").is_dir(), reason="needs a folder that takes no files")
    def test_a_place_that_takes_no_files(self, plan: Plan) -> None:
        with pytest.raises(OutputError, match="could not be written"):
            write_plan(plan, "/proc/dewpond/out")
