"""The choice of outlets, what each cell walks to, and what stays out of reach."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp

from dewpond.base.cover import Cover, smallest_cover
from dewpond.base.model import Candidates, Proof, Reach, Siting
from dewpond.base.progress import Progress
from dewpond.base.settings import SitingSettings
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.steps.siting.exchange import nearest_of, shorten_walks


def choose_outlets(
    candidates: Candidates,
    reach: Reach,
    siting: SitingSettings,
    *,
    progress: Progress | None = None,
) -> Siting:
    """Choose the fewest outlets that bring every cell in reach of any site within the limit.

    The number is proven least (or the proof says by how much it may miss). Among equal numbers,
    sites are exchanged one at a time while the mean walk, by area, gets shorter.

    Parameters
    ----------
    candidates : Candidates
        Sites, and by paddock why places were struck out.
    reach : Reach
        Walks from sites to cells, those within the limit.
    siting : SitingSettings
        Gap allowed and limits of the search.
    progress : callable, optional
        Told the share of the work that is done.

    Returns
    -------
    Siting
        Cells that no site reaches are marked and named in a warning for each paddock.

    Raises
    ------
    SolverError
        When the search stops before it has found any cover.
    """
    walk_m = _after_hose(reach)
    in_reach = np.bincount(walk_m.indices, minlength=walk_m.shape[1]) > 0
    needed = walk_m[:, np.flatnonzero(in_reach)]
    cover = smallest_cover(
        needed,
        optimality_gap=siting.optimality_gap,
        node_limit=siting.node_limit,
        time_limit_s=siting.time_limit_s,
        progress=progress,
    )
    weight = reach.cells["area_m2"].to_numpy(dtype=np.float64)
    sites = shorten_walks(cover.sites, needed, weight[in_reach])
    nearest, first_m, _ = nearest_of(sites, walk_m)
    if progress is not None:
        progress(1.0)
    return Siting(
        sites=tuple(int(site) for site in sites),
        nearest_site=nearest,
        walk_m=np.where(in_reach, first_m, np.nan),
        unreachable=~in_reach,
        proof=_proof(cover),
        warnings=_warnings(candidates, reach, ~in_reach),
    )


def _after_hose(reach: Reach) -> sp.csr_array:
    """Return the walks beyond the hose [m]; a cell within the hose keeps a stored zero."""
    walk_m = reach.walk_m.tocsr()
    beyond = np.maximum(walk_m.data.astype(np.float64) - reach.hose_m, 0.0)
    return sp.csr_array((beyond, walk_m.indices, walk_m.indptr), shape=walk_m.shape)


def _proof(cover: Cover) -> Proof:
    value = len(cover.sites)
    status = "optimal"
    if value > cover.bound:
        why = "within the allowed gap" if cover.complete else "stopped at a limit"
        status = f"{why}; at least {cover.bound} outlets are needed"
    return Proof(float(value), float(cover.bound), cover.seconds, status)


def _warnings(
    candidates: Candidates, reach: Reach, unreachable: npt.NDArray[np.bool_]
) -> tuple[str, ...]:
    lost = reach.cells[unreachable].groupby("paddock")["area_m2"].sum()
    limit = f"{reach.limit_m:g} m"
    if reach.hose_m > 0:
        limit += f" beyond a hose of {reach.hose_m:g} m"
    return tuple(
        _warning(candidates, int(paddock), area_m2 / SQUARE_METRES_PER_HECTARE, limit)
        for paddock, area_m2 in lost.items()
    )


def _warning(candidates: Candidates, paddock: int, area_ha: float, limit: str) -> str:
    name, sites, struck = _reasons(candidates, paddock)
    area = f"{area_ha:.2f} ha" if area_ha >= 0.005 else "less than 0.01 ha"
    because = f"places struck out there: {struck}" if struck else "no place was struck out there"
    if sites == 0:
        return f"{name}: {area} stays without water: no place for an outlet passes ({because})"
    return (
        f"{name}: {area} stays without water: farther than {limit} from each of the {sites} "
        f"places for an outlet ({because})"
    )


def _reasons(candidates: Candidates, paddock: int) -> tuple[str, int, str]:
    """Return the paddock's name, how many sites serve it, and the rules that struck out others."""
    if paddock not in candidates.by_paddock.index:
        sites = int((candidates.access["paddock"] == paddock).sum())
        return f"paddock {paddock}", sites, ""
    row = candidates.by_paddock.loc[paddock]
    rules = row.drop(["name", "sites"])
    struck = ", ".join(f"{rule} {int(count)}" for rule, count in rules.items() if count)
    return str(row["name"]), int(row["sites"]), struck
