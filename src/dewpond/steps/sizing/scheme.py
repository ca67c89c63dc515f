"""The scheme as arrays: pipes, ground, flows and levels, by position in the network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.errors import Fault, InputError
from dewpond.base.model import Flows, HeadMargins, Heads, Intake, Network, Watering
from dewpond.base.surface import FloatArray
from dewpond.base.units import l_min_from_m3_s, m3_s_from_l_min

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

_EXISTING = "existing"
_NO_FLOW_M3_S = 1e-9  # rounding of flows that should cancel


@dataclass(frozen=True, eq=False)
class Scheme:
    """What is to be sized; a parent stands before its children.

    Attributes
    ----------
    pipes, outlets : tuple of str
    parent : array of int, shape (pipes,)
        Pipe upstream, -1 at the source.
    length_m, new_m : array of float, shape (pipes,)
        Length, and the part of it still to be laid.
    existing : array of bool, shape (pipes,)
        Pipe that is there already for the most part.
    existing_mm : array of float, shape (pipes,)
        Outside diameter that the map of existing pipe gives, NaN where new or not given.
    distance_m, ground_m : tuple of arrays, one a pipe, each of shape (points,)
        Distance from the start of the pipe, and ground with unknown heights filled in.
    flow_m3_s : array of float, shape (cases, pipes)
    asking : array of bool, shape (cases,)
        False for a case that only sets speed: the design flows, where no case reaches them.
    outlet_pipe : array of int, shape (outlets,)
        Pipe that ends at each outlet, -1 for one at the source.
    outlet_ground_m, valve_head_m : array of float, shape (outlets,)
    used : array of bool, shape (cases, outlets)
    source_level_m : array of float, shape (cases,)
        Under the flow of each case.
    still_level_m : float
        With no flow: the highest that the source can reach.
    reached : array of bool, shape (outlets,)
        False for an outlet that no pipe can bring water to: nothing is asked for it.
    pressed : array of bool, shape (outlets,)
        Of those, outlets let go because no class bears the pressure on the way.
    bare : array of bool, shape (pipes,)
        Pipes that water passes, but not with the margin over the ground: none is asked there.
    spare_m : array of float, shape (outlets,)
        Head wanted at each outlet besides what its valve needs.
    clearance_m, rise_m : tuple of arrays, one a pipe, each of shape (points,)
        Least height of the grade over the ground, and by how much still water may stand higher
        over the ground than reckoned.
    """

    pipes: tuple[str, ...]
    outlets: tuple[str, ...]
    parent: IntArray
    length_m: FloatArray
    new_m: FloatArray
    existing: BoolArray
    existing_mm: FloatArray
    distance_m: tuple[FloatArray, ...]
    ground_m: tuple[FloatArray, ...]
    flow_m3_s: FloatArray
    asking: BoolArray
    outlet_pipe: IntArray
    outlet_ground_m: FloatArray
    valve_head_m: FloatArray
    used: BoolArray
    source_level_m: FloatArray
    still_level_m: float
    reached: BoolArray
    pressed: BoolArray
    bare: BoolArray
    spare_m: FloatArray
    clearance_m: tuple[FloatArray, ...]
    rise_m: tuple[FloatArray, ...]

    @property
    def outlet_level_m(self) -> FloatArray:
        """Level wanted at each outlet (outlets,): ground, valve and what is kept in hand."""
        return np.asarray(self.outlet_ground_m + self.valve_head_m + self.spare_m)

    @property
    def greatest_rise_m(self) -> float:
        """Most that still water may stand higher than reckoned anywhere."""
        return max((float(rise.max(initial=0.0)) for rise in self.rise_m), default=0.0)

    def low_ground_m(self, pipe: int) -> FloatArray:
        """Return the ground of a pipe (points,) as low as it may be under still water."""
        return np.asarray(self.ground_m[pipe] - self.rise_m[pipe])

    @property
    def reached_pipes(self) -> BoolArray:
        """Pipes (pipes,) that lead to an outlet that is reached."""
        return self._leading_to(self.reached)

    @property
    def laid(self) -> BoolArray:
        """Pipes (pipes,) that are sized: all but those that lead to pressed outlets alone."""
        return self._leading_to(~self.pressed) | ~self._leading_to(self.pressed)

    def scaled(self, share: float, intake: Intake) -> Scheme:
        """Return the scheme with flows cut to a share; valves then need its square in head."""
        flow = self.flow_m3_s * share
        return replace(
            self,
            flow_m3_s=flow,
            valve_head_m=self.valve_head_m * share**2,
            source_level_m=_source_levels(flow, self.parent, intake),
        )

    def kept_to(self, outlets: BoolArray) -> Scheme:
        """Return the scheme with some of its outlets only, and the cases that use no other."""
        kept = self._leading_to(outlets)
        place = np.append(np.cumsum(kept) - 1, -1)  # the last stands for no pipe
        cases = self.asking & ~self.used[:, ~outlets].any(axis=1)
        chosen = np.flatnonzero(kept).tolist()
        return replace(
            self,
            pipes=tuple(self.pipes[pipe] for pipe in chosen),
            outlets=tuple(name for name, some in zip(self.outlets, outlets, strict=True) if some),
            parent=place[self.parent[kept]],
            length_m=self.length_m[kept],
            new_m=self.new_m[kept],
            existing=self.existing[kept],
            existing_mm=self.existing_mm[kept],
            distance_m=tuple(self.distance_m[pipe] for pipe in chosen),
            ground_m=tuple(self.ground_m[pipe] for pipe in chosen),
            flow_m3_s=self.flow_m3_s[cases][:, kept],
            asking=self.asking[cases],
            outlet_pipe=place[self.outlet_pipe[outlets]],
            outlet_ground_m=self.outlet_ground_m[outlets],
            valve_head_m=self.valve_head_m[outlets],
            used=self.used[cases][:, outlets],
            source_level_m=self.source_level_m[cases],
            reached=self.reached[outlets],
            pressed=self.pressed[outlets],
            bare=self.bare[kept],
            spare_m=self.spare_m[outlets],
            clearance_m=tuple(self.clearance_m[pipe] for pipe in chosen),
            rise_m=tuple(self.rise_m[pipe] for pipe in chosen),
        )

    def _leading_to(self, outlets: BoolArray) -> BoolArray:
        kept = np.zeros(len(self.pipes), dtype=bool)
        kept[self.outlet_pipe[outlets & (self.outlet_pipe >= 0)]] = True
        for pipe in range(len(self.pipes) - 1, -1, -1):
            if kept[pipe] and self.parent[pipe] >= 0:
                kept[self.parent[pipe]] = True
        return kept


def make_scheme(
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    margins: HeadMargins | None = None,
) -> Scheme:
    """Gather a network with its flows and levels, and what is to be kept in hand.

    Raises
    ------
    InputError
        Two pipes lead to one place: exact sizing is for trees.
    """
    pipes, nodes = network.pipes, network.nodes
    parent = _parents(network)
    sections = [heads.sections[str(name)] for name in pipes.index]
    outlets = nodes.index[nodes["kind"] == "outlet"]
    flow, asking = _cases(flows, pipes.index)
    arrives = _ends_at(pipes, outlets)
    leaves = pipes["from_node"].to_numpy()[:, None] == outlets.to_numpy()[None, :]
    drawn = np.where(arrives >= 0, flow[:, arrives], np.inf) if len(pipes) else np.ones((1, 0))
    drawn = drawn - flow @ leaves.astype(float)
    ground = tuple(
        _filled(section.ground_level_m, float(nodes.at[pipe, "ground_level_m"]))
        for section, pipe in zip(sections, pipes["to_node"], strict=True)
    )
    stated = heads.nodes.loc[outlets, "ground_level_m"].to_numpy(dtype=float)
    at_end = np.array([ground[pipe][-1] if pipe >= 0 else np.nan for pipe in arrives])
    return Scheme(
        tuple(map(str, pipes.index)),
        tuple(map(str, outlets)),
        parent,
        pipes["length_m"].to_numpy(dtype=float),
        _new_lengths(pipes),
        np.asarray(pipes["laying"].to_numpy() == _EXISTING, dtype=bool),
        _existing_sizes_mm(pipes),
        tuple(section.distance_m - section.distance_m[0] for section in sections),
        ground,
        flow,
        asking,
        arrives,
        np.where(np.isnan(stated), at_end, stated),
        watering.outlets.loc[outlets, "valve_head_m"].to_numpy(dtype=float),
        (drawn > _NO_FLOW_M3_S) & asking[:, None],
        _source_levels(flow, parent, intake),
        float(intake.level_at_m(0.0)),
        np.ones(len(outlets), dtype=bool),
        np.zeros(len(outlets), dtype=bool),
        np.zeros(len(pipes), dtype=bool),
        *_margins(margins, outlets, [str(name) for name in pipes.index], ground),
    )


def _margins(
    margins: HeadMargins | None,
    outlets: pd.Index,
    pipes: Sequence[str],
    ground: Sequence[FloatArray],
) -> tuple[FloatArray, tuple[FloatArray, ...], tuple[FloatArray, ...]]:
    """Return what is kept in hand at outlets and along pipes, nothing where none is given."""
    if margins is None:
        nothing = tuple(np.zeros(len(points)) for points in ground)
        return np.zeros(len(outlets)), nothing, nothing
    return (
        np.array([margins.outlets[str(name)] for name in outlets], dtype=float),
        tuple(margins.clearance[name] for name in pipes),
        tuple(margins.rise[name] for name in pipes),
    )


def _parents(network: Network) -> IntArray:
    """Return the pipe that ends where each begins, -1 at the source."""
    pipes = network.pipes
    if pipes["to_node"].duplicated().any():
        twice = str(pipes.loc[pipes["to_node"].duplicated(), "to_node"].iloc[0])
        raise InputError([Fault(
            twice,
            "is reached by two pipes",
            expected="a tree of pipe",
            remedy="leave one of them out: sizes are chosen for trees only",
        )])  # fmt: skip
    place = {node: position for position, node in enumerate(pipes["to_node"])}
    return np.array([place.get(node, -1) for node in pipes["from_node"]], dtype=np.intp)


def _ends_at(pipes: pd.DataFrame, outlets: pd.Index) -> IntArray:
    place = {node: position for position, node in enumerate(pipes["to_node"])}
    return np.array([place.get(outlet, -1) for outlet in outlets], dtype=np.intp)


def _cases(flows: Flows, pipes: pd.Index) -> tuple[FloatArray, BoolArray]:
    """Return flows (cases, pipes) and which cases ask for head; repeated cases once."""
    cases = m3_s_from_l_min(flows.cases[list(pipes)].to_numpy(dtype=float))
    if len(cases):
        first = np.unique(cases.round(12), axis=0, return_index=True)[1]
        cases = cases[np.sort(first)]
    asking = np.ones(len(cases), dtype=bool)
    design = m3_s_from_l_min(flows.pipes.loc[pipes, "design_flow_l_min"].to_numpy(dtype=float))
    reached = cases.max(axis=0, initial=0.0)
    if not len(cases) or (design > reached + _NO_FLOW_M3_S).any():
        cases, asking = np.vstack([cases, design]), np.append(asking, False)
    return cases, asking


def _existing_sizes_mm(pipes: pd.DataFrame) -> FloatArray:
    """Return the sizes that the map gives for pipe that is there already [mm], else NaN."""
    if "existing_outside_diameter_mm" not in pipes:
        return np.full(len(pipes), np.nan)
    size_mm = pipes["existing_outside_diameter_mm"].to_numpy(dtype=float)
    return np.where(pipes["laying"].to_numpy() == _EXISTING, size_mm, np.nan)


def _new_lengths(pipes: pd.DataFrame) -> FloatArray:
    """Return the length still to be laid; pipe that is there for the lesser part is laid anew."""
    there = [
        sum(length for kind, length in parts if kind == _EXISTING) if laying == _EXISTING else 0.0
        for laying, parts in zip(pipes["laying"], pipes["laying_m"], strict=True)
    ]
    left = pipes["length_m"].to_numpy(dtype=float) - np.array(there, dtype=float)
    return np.asarray(np.maximum(left, 0.0))


def _filled(level_m: FloatArray, at_end_m: float) -> FloatArray:
    """Return ground levels with unknown ones drawn straight between their neighbours."""
    known = ~np.isnan(level_m)
    if known.all():
        return level_m
    if not known.any():
        return np.full(level_m.shape, at_end_m)
    place = np.arange(level_m.size)
    return np.asarray(np.interp(place, place[known], level_m[known]))


def _source_levels(flow: FloatArray, parent: IntArray, intake: Intake) -> FloatArray:
    return intake.level_at_m(l_min_from_m3_s(flow[:, parent < 0].sum(axis=1)))
