"""The layer rule, read from the imports themselves: who may import whom, and no cycles.

``cli -> plan, compare, batch, outputs -> base`` and ``plan -> steps -> base``.
"""

from __future__ import annotations

import ast
from pathlib import Path

import networkx as nx
import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "src" / "dewpond"

# What a module of each layer may import besides its own part.
ALLOWED = {
    "base": {"base"},
    "steps": {"base"},
    "outputs": {"base"},
    "plan": {"steps", "base"},
    "compare": {"plan", "base"},
    "batch": {"plan", "outputs", "base"},
    "gravity": {"plan", "steps", "base"},
    "cli": {"plan", "compare", "gravity", "batch", "outputs", "base"},
    "__main__": {"cli"},
    "": {"plan", "compare", "gravity", "batch", "outputs", "base"},
}
# The output that writes a whole plan composes the others, as the plan composes the steps.
COMPOSERS = {"dewpond.outputs"}


def modules() -> dict[str, Path]:
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        parts = parts[:-1] if parts[-1] == "__init__" else parts
        found[".".join(("dewpond", *parts))] = path
    return found


def imports_of(name: str, path: Path, known: set[str]) -> set[str]:
    """Modules of the package that a module imports anywhere, also inside functions."""
    targets: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            targets |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} uses a relative import"
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            targets |= {item if item in known else str(node.module) for item in inner}
    return {target for target in targets if target in known and target != name}


def graph() -> nx.DiGraph:
    found = modules()
    edges = nx.DiGraph()
    edges.add_nodes_from(found)
    for name, path in found.items():
        edges.add_edges_from((name, target) for target in imports_of(name, path, set(found)))
    return edges


def layer(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def part(module: str) -> str:
    """The step or output a module belongs to: the third word of its name."""
    parts = module.split(".")
    return parts[2] if len(parts) > 2 else ""


def test_package_is_found() -> None:
    assert len(modules()) > 20


def test_every_import_goes_down_a_layer() -> None:
    wrong = [
        f"{name} imports {target}"
        for name, target in graph().edges
        if layer(target) not in ALLOWED[layer(name)]
        and not (
            layer(target) == layer(name)
            and layer(name) in {"steps", "outputs", "cli", "compare", "batch", "plan"}
        )
    ]
    assert wrong == []


@pytest.mark.parametrize("folder", ["steps", "outputs"])
def test_parts_of_a_layer_do_not_import_each_other(folder: str) -> None:
    wrong = [
        f"{name} imports {target}"
        for name, target in graph().edges
        if layer(name) == layer(target) == folder
        and part(name) != part(target)
        and name not in COMPOSERS
    ]
    assert wrong == []


def test_no_cycles() -> None:
    # A package and its own modules are one room: the package re-exports what they define.
    cycles = [cycle for cycle in nx.simple_cycles(graph()) if len(cycle) > 1]
    assert cycles == []


def test_a_step_has_one_public_function() -> None:
    for name, path in modules().items():
        if layer(name) != "steps" or name.count(".") != 2:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if path.name == "__init__.py":
            public = [
                alias.asname or alias.name
                for node in tree.body
                if isinstance(node, ast.ImportFrom) and node.module != "__future__"
                for alias in node.names
            ]
        else:
            public = [
                node.name
                for node in tree.body
                if isinstance(node, ast.FunctionDef | ast.ClassDef)
                and not node.name.startswith("_")
            ]
        assert len(public) == 1, f"{name} offers {public}"


def test_only_maps_draw_and_only_read_opens_files() -> None:
    homes = {
        "matplotlib": ("outputs",),
        # One output is a raster itself, and its format is best written by what reads it.
        "rasterio": ("read", "outputs.command.raster"),
        "pyogrio": ("read", "outputs"),
    }
    for name, path in modules().items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for library, allowed in homes.items():
                uses = (
                    isinstance(node, ast.Import)
                    and any(alias.name.split(".")[0] == library for alias in node.names)
                ) or (
                    isinstance(node, ast.ImportFrom) and str(node.module).split(".")[0] == library
                )
                # Their arguments may be open rasters; the import is for the type alone.
                typed = {"dewpond.plan.holding", "dewpond.gravity"}
                type_only = library == "rasterio" and name in typed
                assert not uses or type_only or any(word in name for word in allowed), (
                    f"{name} imports {library}"
                )
