"""Sheets for setting out on site: outlets, fittings and pipe as points, for GPS and as a table."""

from dewpond.outputs.site.gpx import gpx_text
from dewpond.outputs.site.points import SitePoints, site_points
from dewpond.outputs.site.table import points_csv

__all__ = ["SitePoints", "gpx_text", "points_csv", "site_points"]
