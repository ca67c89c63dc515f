"""Writing the plan sheets, beside the map of the same plan as a picture."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / "outputs")]


@pytest.mark.benchmark
def test_sheets_beside_a_map_as_picture(tmp_path: Path) -> None:
    from hand_plan import make_plan

    from dewpond.outputs.drawing import plan_map, save_png
    from dewpond.outputs.drawing.plan_sheet import save_plan_sheets
    from dewpond.outputs.layers import plan_layers

    plan = make_plan()
    layers = plan_layers(plan)
    pdf, png = tmp_path / "sheets.pdf", tmp_path / "map.png"
    save_png(plan_map(plan, layers), png)  # fonts are read once
    start = time.process_time()
    save_png(plan_map(plan, layers), png)
    picture_s = time.process_time() - start
    start = time.process_time()
    save_plan_sheets(plan, layers, pdf)
    sheets_s = time.process_time() - start
    print(
        f"\nsheets {sheets_s:.2f} s and {pdf.stat().st_size / 1e6:.2f} MB, "
        f"{sheets_s / picture_s:.1f} times the map as picture ({picture_s:.2f} s, "
        f"{png.stat().st_size / 1e6:.2f} MB)"
    )
    assert pdf.read_bytes().startswith(b"%PDF-")
