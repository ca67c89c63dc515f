"""The spots to level on site as a table that is filled in there and read back."""

from __future__ import annotations

import csv
import io

import pandas as pd
import pyproj

from dewpond.base.advice import listed
from dewpond.base.cells import harmless_cell
from dewpond.base.model import Holding
from dewpond.base.surface import transformer
from dewpond.base.words import words


def survey_csv(holding: Holding, survey: pd.DataFrame) -> str:
    """Return one row for each spot, its level left blank, as ``[terrain] levels`` reads it.

    Parameters
    ----------
    holding : Holding
        Its working CRS is that of the coordinates.
    survey : DataFrame
        As `Confidence.survey`.

    Returns
    -------
    str
        CSV with the columns name, easting, northing (to the centimetre), level (empty) and note:
        the level guessed, longitude and latitude, the CRS, and what the spot settles.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["name", "easting", "northing", "level", "note"])
    to_degrees = transformer(holding.crs, pyproj.CRS.from_epsg(4326))
    grid = holding.crs.to_string() if holding.crs.to_authority() else holding.crs.name
    for _, row in survey.iterrows():
        longitude, latitude = to_degrees.transform(row["easting_m"], row["northing_m"])
        note = words(
            "confidence.survey.note",
            level_m=row["level_m"], deviation_m=row["deviation_m"], latitude=latitude,
            longitude=longitude, crs=grid, outlets=listed(list(row["outlets"])),
        )  # fmt: skip
        place = (f"{row['easting_m']:.2f}", f"{row['northing_m']:.2f}")
        writer.writerow([harmless_cell(row["name"]), *place, "", harmless_cell(note)])
    return text.getvalue()
