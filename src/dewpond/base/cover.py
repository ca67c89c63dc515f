"""The fewest sites that cover every cell: location set covering, solved to a proven optimum.

Most cells say nothing new. Cells with the same sites in reach are one; a cell is met as soon as
one with fewer choices is; a site is no use beside one that reaches all it does; a cell with one
site decides. What is left falls into separate clusters that HiGHS solves one by one.

Source of the model: Toregas, Swain, ReVelle & Bergman 1971, The location of emergency service
facilities, Operations Research 19(6):1363-1373 (from memory); of the reductions: Toregas &
ReVelle 1972, Optimal location under time or distance constraints, Papers of the Regional Science
Association 28:133-143 (from memory).
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

import highspy
import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from dewpond.base.errors import SolverError
from dewpond.base.optimiser import quiet_solver
from dewpond.base.progress import Progress

IntArray = npt.NDArray[np.intp]

# Seed of the keys by which like cells are found; any other gives the same answer.
_KEY_SEED = 20_231
# A bound within rounding of a whole number is that number.
_WHOLE = 1e-6
# Ends of a search that may leave a usable cover.
_USABLE = (
    highspy.HighsModelStatus.kOptimal,
    highspy.HighsModelStatus.kTimeLimit,
    highspy.HighsModelStatus.kSolutionLimit,
    highspy.HighsModelStatus.kInterrupt,
)
_FEASIBLE = highspy.SolutionStatus.kSolutionStatusFeasible


@dataclass(frozen=True, eq=False)
class Cover:
    """A cover with the proof of how small it is.

    Attributes
    ----------
    sites : array of int
        Chosen rows of the matrix, ascending.
    bound : int
        No cover has fewer sites than this.
    complete : bool
        Whether the search ended of itself rather than at a limit.
    seconds : float
        Wall time of reduction and search.
    hard_cells, hard_sites : int
        Size of what the reductions left for the solver.
    """

    sites: IntArray
    bound: int
    complete: bool
    seconds: float
    hard_cells: int
    hard_sites: int


def smallest_cover(
    reach: sp.csr_array,
    *,
    optimality_gap: float = 0.0,
    node_limit: int = 200_000,
    time_limit_s: float = 120.0,
    progress: Progress | None = None,
) -> Cover:
    """Return the fewest rows that between them have an entry in every column.

    Parameters
    ----------
    reach : csr_array, shape (n sites, m cells)
        A stored entry, whatever its value, means that the site covers the cell.
    optimality_gap : float
        Share by which each cluster may miss its proven least.
    node_limit : int
        Branch-and-bound nodes for each cluster.
    time_limit_s : float
        For all clusters together [s].
    progress : callable, optional
        Told the share of the work that is done.

    Raises
    ------
    ValueError
        When a cell has no site at all.
    SolverError
        When a limit is met before any cover is found, or the solver fails.
    """
    started = time.perf_counter()
    pattern = _pattern(reach)
    if pattern.shape[1] and np.diff(pattern.tocsc().indptr).min() == 0:
        raise ValueError("some cells are covered by no site; leave them out")
    cells = distinct_cells(pattern)
    chosen, sites, cells = _reduce(pattern, cells)
    core = pattern[sites][:, cells].tocsr()
    parts, label = connected_components(_bipartite(core), directed=False)
    bound, complete = len(chosen), True
    for part in range(parts):
        rows = np.flatnonzero(label[: len(sites)] == part)
        columns = np.flatnonzero(label[len(sites) :] == part)
        left_s = max(time_limit_s - (time.perf_counter() - started), 0.1)
        taken, least, final = _solve(core[rows][:, columns], optimality_gap, node_limit, left_s)
        chosen = np.append(chosen, sites[rows[taken]])
        bound, complete = bound + least, complete and final
        if progress is not None:
            progress((part + 1) / parts)
    return Cover(
        sites=np.sort(chosen),
        bound=bound,
        complete=complete,
        seconds=time.perf_counter() - started,
        hard_cells=len(cells),
        hard_sites=len(sites),
    )


def distinct_cells(reach: sp.csr_array) -> IntArray:
    """Return the first of each group of columns with the same stored rows, ascending.

    Columns are grouped by the sum of random keys of their rows, and each is then compared with
    the first of its group entry by entry, so chance cannot merge two that differ.
    """
    columns = reach.tocsc()
    columns.sort_indices()
    generator = np.random.default_rng(_KEY_SEED)
    left = np.arange(columns.shape[1])
    kept: list[IntArray] = []
    while left.size:
        keys = generator.integers(0, 2**63, columns.shape[0], dtype=np.uint64)
        sums = np.zeros(columns.shape[1], dtype=np.uint64)
        filled = np.diff(columns.indptr) > 0
        sums[filled] = np.add.reduceat(keys[columns.indices], columns.indptr[:-1][filled])
        _, first, group = np.unique(sums[left], return_index=True, return_inverse=True)
        same = _same_columns(columns, left, left[first[group]])
        kept.append(left[first])
        left = left[~same]
    return np.sort(np.concatenate(kept)) if kept else left


def _same_columns(
    columns: sp.csc_array, first: IntArray, second: IntArray
) -> npt.NDArray[np.bool_]:
    """Tell for each pair of columns whether their stored rows are equal."""
    sizes = np.diff(columns.indptr)
    same: npt.NDArray[np.bool_] = sizes[first] == sizes[second]
    pairs = np.flatnonzero(same & (first != second) & (sizes[first] > 0))
    lengths = sizes[first[pairs]]
    starts = np.cumsum(lengths) - lengths
    steps = np.arange(lengths.sum()) - np.repeat(starts, lengths)
    one = columns.indices[np.repeat(columns.indptr[first[pairs]], lengths) + steps]
    other = columns.indices[np.repeat(columns.indptr[second[pairs]], lengths) + steps]
    if pairs.size:
        same[pairs] = np.logical_and.reduceat(one == other, starts)
    return same


def _reduce(pattern: sp.csr_array, cells: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return the sites that must be chosen, and the sites and cells still open after that."""
    sites = np.arange(pattern.shape[0])
    chosen: list[int] = []
    while cells.size:
        before = (len(sites), len(cells))
        cells = cells[_demanding(pattern[sites][:, cells])]
        sites = sites[_useful(pattern[sites][:, cells])]
        open_part = pattern[sites][:, cells].tocsc()
        alone = np.flatnonzero(np.diff(open_part.indptr) == 1)
        forced = np.unique(open_part.indices[open_part.indptr[alone]])
        chosen.extend(sites[forced].tolist())
        met = np.zeros(len(cells), dtype=np.bool_)
        met[open_part.tocsr()[forced].indices] = True
        cells, sites = cells[~met], np.delete(sites, forced)
        if (len(sites), len(cells)) == before:
            break
    if not cells.size:
        sites = sites[:0]
    return np.asarray(chosen, dtype=np.intp), sites, cells


def _demanding(part: sp.csr_array) -> IntArray:
    """Return the columns that no other column, with fewer rows and all of them shared, implies.

    The loop runs over columns that stay, few beside those that fall; each looks only at the
    columns of its scarcest row.
    """
    rows, columns = part.tocsr(), part.tocsc()
    columns.sort_indices()
    bits = _packed(columns)
    sizes = np.diff(columns.indptr)
    scarcity = np.diff(rows.indptr)
    stays = np.ones(columns.shape[1], dtype=np.bool_)
    for column in np.argsort(sizes, kind="stable"):
        if not stays[column]:
            continue
        own = columns.indices[columns.indptr[column] : columns.indptr[column + 1]]
        scarcest = own[scarcity[own].argmin()]
        rivals = rows.indices[rows.indptr[scarcest] : rows.indptr[scarcest + 1]]
        rivals = rivals[stays[rivals] & (sizes[rivals] >= sizes[column])]
        words = np.unique(own // 64)
        asked = bits[column, words]
        implied = rivals[np.all(bits[rivals[:, None], words] & asked == asked, axis=1)]
        stays[implied] = False
        stays[column] = True
    return np.flatnonzero(stays)


def _packed(columns: sp.csc_array) -> npt.NDArray[np.uint64]:
    """Return each column's rows as bits, shape (columns, words of 64 rows)."""
    words = (columns.shape[0] + 63) // 64
    bits = np.zeros((columns.shape[1], words), dtype=np.uint64)
    column = np.repeat(np.arange(columns.shape[1]), np.diff(columns.indptr))
    place = column * words + columns.indices // 64
    values = np.uint64(1) << (columns.indices % 64).astype(np.uint64)
    starts = np.flatnonzero(np.r_[True, place[1:] != place[:-1]]) if place.size else place
    if place.size:
        bits.ravel()[place[starts]] = np.bitwise_or.reduceat(values, starts)
    return bits


def _useful(part: sp.csr_array) -> IntArray:
    """Return the rows whose columns no single other row has all of; of equal rows the first."""
    counts = part.astype(np.int32)
    shared = (counts @ counts.T).tocoo()
    sizes = np.diff(part.tocsr().indptr)
    first, second = shared.coords
    larger = (sizes[second] > sizes[first]) | ((sizes[second] == sizes[first]) & (second < first))
    idle = sizes == 0
    idle[first[(shared.data == sizes[first]) & larger]] = True
    return np.flatnonzero(~idle)


def _solve(
    part: sp.csr_array, optimality_gap: float, node_limit: int, time_limit_s: float
) -> tuple[npt.NDArray[np.bool_], int, bool]:
    """Return which sites are chosen, how many are needed at least, and whether that is final."""
    solver = quiet_solver(
        {
            "parallel": "off",
            "mip_rel_gap": optimality_gap,
            # Numbers of sites are whole: less than one apart is no gap at all.
            "mip_abs_gap": 1.0 - 1e-3,
            "mip_max_nodes": node_limit,
            "time_limit": time_limit_s,
        }
    )
    if solver.passModel(_model(part)) == highspy.HighsStatus.kError:
        raise SolverError("the optimiser refused the model of the cover")
    solver.run()
    status, info = solver.getModelStatus(), solver.getInfo()
    if status not in _USABLE or info.primal_solution_status != _FEASIBLE:
        raise SolverError(
            f"no cover of {part.shape[1]} cells by {part.shape[0]} sites was found: "
            f"{solver.modelStatusToString(status)}; raise node_limit or time_limit_s in [siting]"
        )
    taken = np.asarray(solver.getSolution().col_value) > 0.5
    if (part.T @ taken.astype(np.int32)).min() < 1:
        raise SolverError("the optimiser's cover leaves cells out")
    bound = math.ceil(info.mip_dual_bound - _WHOLE)
    return taken, bound, status == highspy.HighsModelStatus.kOptimal


def _model(part: sp.csr_array) -> highspy.HighsLp:
    """Return the model: least number of sites, at least one for each cell."""
    sites, cells = part.shape
    by_cell = part.T.tocsr()
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = sites, cells
    model.col_cost_ = np.ones(sites)
    model.col_lower_, model.col_upper_ = np.zeros(sites), np.ones(sites)
    model.row_lower_, model.row_upper_ = np.ones(cells), np.full(cells, highspy.kHighsInf)
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = by_cell.indptr
    model.a_matrix_.index_ = by_cell.indices
    model.a_matrix_.value_ = by_cell.data.astype(np.float64)
    model.integrality_ = [highspy.HighsVarType.kInteger] * sites
    return model


def _pattern(reach: sp.csr_array) -> sp.csr_array:
    data = np.ones(reach.nnz, dtype=np.int8)
    return sp.csr_array((data, reach.indices, reach.indptr), shape=reach.shape)


def _bipartite(core: sp.csr_array) -> sp.csr_array:
    return sp.csr_array(sp.block_array([[None, core], [core.T, None]]))
