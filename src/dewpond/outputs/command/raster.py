"""The command area as a GeoTIFF, a band for each figure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio

from dewpond.base.errors import OutputError
from dewpond.base.model import CommandGround

NODATA = -9999.0
"""Written where ground is not known, there or on the way; a value no figure takes."""

BANDS = (
    ("residual_head_m", "Head over the ground left at the flow asked for", "metre"),
    ("spare_m", "Least head to spare, there or on the way; zero or more is served", "metre"),
    ("chance", "Chance that it is served", "1"),
    ("highest_static_head_m", "Head of still water over the lowest ground on the way", "metre"),
    ("pipe_length_m", "Length of pipe from the source", "metre"),
)
"""Name, description and unit of every band, in order."""


def write_raster(ground: CommandGround, path: Path) -> None:
    """Write the figures of every cell as float32 in the working CRS, the same bytes every time.

    Raises
    ------
    OutputError
        When the file cannot be written.
    """
    first = ground.spare_m
    rows, columns = first.values.shape
    try:
        with rasterio.open(
            path, "w", driver="GTiff", height=rows, width=columns, count=len(BANDS),
            dtype="float32", crs=first.crs.to_wkt(), transform=first.transform, nodata=NODATA,
            compress="deflate", predictor=3, tiled=True, blockxsize=256, blockysize=256,
        ) as data:  # fmt: skip
            for number, (name, description, unit) in enumerate(BANDS, start=1):
                values = getattr(ground, name).values
                written = np.where(np.isfinite(values), values, NODATA)
                data.write(written.astype(np.float32), number)
                data.set_band_description(number, f"{name}: {description}")
                data.set_band_unit(number, unit)
    except rasterio.errors.RasterioError as error:
        raise OutputError(f"{path.name} could not be written ({error})") from error
