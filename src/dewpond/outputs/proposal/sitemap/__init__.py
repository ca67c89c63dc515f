"""The map inside the proposal: drawn to the page's own measure, from the layers of the plan."""

from dewpond.outputs.proposal.sitemap.picture import SiteMap, draw_site_map

__all__ = ["SiteMap", "draw_site_map"]
