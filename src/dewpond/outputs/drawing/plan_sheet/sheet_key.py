"""The key to the sheets: the whole holding in small, its sheets by number, this one filled."""

from __future__ import annotations

import numpy as np
import shapely
from matplotlib.patches import PathPatch

from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.division import Tile
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import Page
from dewpond.outputs.drawing.plan_sheet.paper import Extent
from dewpond.outputs.drawing.shapes import path_of

_HEADING_PT, _NUMBER_PT = 7.0, 7.0
_FINEST_MM = 0.15
"""Details of the outline smaller than this are dropped."""


def draw_sheet_key(page: Page, job: Job, present: Tile, room: Extent) -> None:
    """Draw the key within a room [mm]; parts shown are those within the match lines.

    Parameters
    ----------
    page : Page
    job : Job
    present : Tile
        The sheet it stands on.
    room : tuple of float
    """
    left, foot, right, top = room
    large = page.paper.enlarged
    page.text(left, top, words("plan_sheet.key"), _HEADING_PT * large, weight="bold", va="top")
    top -= 4.0 * large
    own = np.array([tile.own_m for tile in job.division.tiles])
    west, south = own[:, :2].min(axis=0)
    east, north = own[:, 2:].max(axis=0)
    per_metre = min((right - left) / (east - west), (top - foot) / (north - south))
    middle = (left + right) / 2 - per_metre * (west + east) / 2

    def place(x: float, y: float) -> tuple[float, float]:
        return middle + per_metre * x, foot + per_metre * (y - south)

    for tile in job.division.tiles:
        corners = (*place(*tile.own_m[:2]), *place(*tile.own_m[2:]))
        here = tile.number == present.number
        page.box(corners, 0.5, facecolor=letter.FAINT if here else "white", zorder=2)
    outline = shapely.union_all(list(job.layers["paddock"].geometry))
    outline = shapely.simplify(outline, _FINEST_MM / per_metre)
    drawn = shapely.transform(
        outline, lambda at: np.array([middle, foot - per_metre * south]) + per_metre * at
    )
    page.axes.add_patch(
        PathPatch(path_of([drawn]), facecolor=letter.PIPE, alpha=0.15, linewidth=0, zorder=2.5)
    )
    tallest = min(tile.own_m[3] - tile.own_m[1] for tile in job.division.tiles) * per_metre
    size = min(_NUMBER_PT * large, 1.6 * tallest)
    for tile in job.division.tiles:
        x, y = place((tile.own_m[0] + tile.own_m[2]) / 2, (tile.own_m[1] + tile.own_m[3]) / 2)
        weight = "bold" if tile.number == present.number else "normal"
        page.text(x, y, str(tile.number), size, ha="center", va="center", weight=weight)
