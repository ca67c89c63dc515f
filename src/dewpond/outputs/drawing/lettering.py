"""Lettering, colours and saving: what every drawing has in common.

Nothing here touches the global state of the drawing library: fonts are given by file, colours
and widths by value, so that a drawing looks the same whatever the user has configured.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.ft2font import FT2Font
from matplotlib.patheffects import withStroke
from matplotlib.textpath import text_to_path

DOTS_PER_INCH = 150
POINTS_PER_INCH = 72.0
LINE_SPACING = 1.2
SEPARATOR = "  ·  "
"""Between the figures of the line under a title."""

INK, MUTED, FAINT = "#20252b", "#5a626b", "#c9ced4"
PIPE, STILL_WATER = "#0a4a8f", "#1f78c8"
TRACK, STREAM, KEEP_OUT = "#8a7f70", "#69a8d8", "#c4cdbf"
MISSED = "#7a0177"
WALK_SHADES = ("#fff3d9", "#fddca4", "#f7bd72", "#e59a4f", "#c97a3a", "#a85c2b")
"""From near to far: each darker than the one before, so that it reads in grey as well."""

_BAND_COUNT_SHADES = {1: (1,), 2: (0, 3), 3: (0, 2, 4), 4: (0, 1, 3, 5), 5: (0, 1, 2, 4, 5)}

_LETTERS_PACKAGE = "weblate_fonts"
_LETTERS_FOLDER = ("static", "weblate_fonts", "kurinto", "ttf")
_LETTERS_PARTS = ("", "SC", "JP", "KR")
"""Most scripts of the world, then Chinese, Japanese, Korean: fonts under the Open Font Licence."""
_MISSING_GLYPH = "\u25a1"
_STEERING = frozenset("\u200c\u200d\u200e\u200f")
"""Non-joiner and joiner, which shape Arabic letters, and the marks of direction beside them."""


def walk_shades(bands: int) -> list[str]:
    """Return one shade for each band, as far apart as the ramp allows."""
    return [WALK_SHADES[i] for i in _BAND_COUNT_SHADES.get(bands, range(bands))]


def font(size_pt: float, weight: str = "normal", style: str = "normal") -> FontProperties:
    """Return the sans-serif that ships with the drawing library, the same on every machine.

    Letters that it lacks come from the fonts of the extra ``letters`` where that is installed.
    """
    main = _font_file(weight, style)
    others = _other_files(weight)
    if not others:
        return FontProperties(fname=str(main), size=size_pt)
    return _FontChain([str(file) for file in (main, *others)], size_pt)


class _FontChain(FontProperties):
    """Fonts by file, each for the letters that those before it lack.

    The drawing library falls back over a list of families and looks each up by its name among the
    fonts of the machine; here a family is a file, so that nothing is looked up.
    """

    def __init__(self, files: Sequence[str], size_pt: float) -> None:
        super().__init__(family=list(files), size=size_pt)

    def __copy__(self) -> _FontChain:
        copied = object.__new__(_FontChain)
        copied.__dict__.update(self.__dict__)
        return copied

    def set_family(self, family: str | Iterable[str] | None) -> None:
        """Take a file for a family: the list of all, or the one that is asked for next."""
        super().set_family(family)
        if isinstance(family, str):
            self.set_file(family)


@lru_cache(maxsize=8)
def _font_file(weight: str, style: str) -> Path:
    name = {
        ("normal", "normal"): "DejaVuSans.ttf",
        ("bold", "normal"): "DejaVuSans-Bold.ttf",
        ("normal", "italic"): "DejaVuSans-Oblique.ttf",
        ("bold", "italic"): "DejaVuSans-BoldOblique.ttf",
    }[weight, style]
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


@lru_cache(maxsize=2)
def _other_files(weight: str) -> tuple[Path, ...]:
    """Return fonts for other scripts; none where the extra ``letters`` is not installed."""
    found = find_spec(_LETTERS_PACKAGE)
    if found is None or not found.submodule_search_locations:
        return ()
    folder = Path(found.submodule_search_locations[0], *_LETTERS_FOLDER)
    cut = "Bd" if weight == "bold" else "Rg"
    files = [folder / f"KurintoSans{part}-{cut}.ttf" for part in _LETTERS_PARTS]
    return tuple(file for file in files if file.is_file())


@lru_cache(maxsize=1)
def _known_letters() -> frozenset[int]:
    files = (_font_file("normal", "normal"), *_other_files("normal"))
    return frozenset(point for file in files for point in FT2Font(str(file)).get_charmap())


def plain(text: str, longest: int = 60) -> str:
    """Return text that can be drawn on one line, whatever a name in the data holds.

    Control characters and runs of blanks become one blank, letters that the font does not have
    become a box, and what is longer than `longest` ends in an ellipsis. Accents are joined to
    their letters; marks over letters that the font lacks are left out, as are signs that only
    steer the direction of writing, but for those that part or join letters.
    """
    kept = " ".join("".join(_drawn(c) for c in unicodedata.normalize("NFC", text)).split())
    return kept if len(kept) <= longest else kept[: longest - 1].rstrip() + "…"


def _drawn(letter: str) -> str:
    """Return what stands for one letter of a name."""
    kind = unicodedata.category(letter)
    if kind == "Cf":
        return letter if letter in _STEERING else ""
    if not letter.isprintable():
        return " "
    if ord(letter) in _known_letters():
        return letter
    return "" if kind == "Mn" else _MISSING_GLYPH


def minus(text: str) -> str:
    """Return text with a minus sign, not a hyphen, before each negative figure."""
    return f" {text}".replace(" -", " \N{MINUS SIGN}")[1:]


def halo(width_pt: float = 2.2) -> list[withStroke]:
    """Return the white edge that keeps lettering readable on any ground."""
    return [withStroke(linewidth=width_pt, foreground="white", alpha=0.92)]


@lru_cache(maxsize=4096)
def text_size_pt(text: str, size_pt: float, weight: str = "normal") -> tuple[float, float]:
    """Return width and height [points] of one or more lines of text."""
    lines = text.split("\n")
    properties = font(size_pt, weight)
    width = max(
        text_to_path.get_text_width_height_descent(line, properties, ismath=False)[0]
        for line in lines
    )
    return float(width), len(lines) * size_pt * LINE_SPACING


def wrap(text: str, size_pt: float, width_pt: float) -> str:
    """Break text between words so that no line is wider than `width_pt`.

    A word that is wider by itself is broken after a hyphen or stroke, else between letters.
    """
    lines: list[str] = []
    for word in text.split():
        for number, part in enumerate(_parts(word, size_pt, width_pt)):
            longer = (lines[-1] + ("" if number else " ") + part) if lines else part
            if lines and text_size_pt(longer, size_pt)[0] <= width_pt:
                lines[-1] = longer
            else:
                lines.append(part)
    return "\n".join(lines)


def _parts(word: str, size_pt: float, width_pt: float) -> list[str]:
    """Return the parts that a word may be broken into; itself where it is narrow enough."""
    if text_size_pt(word, size_pt)[0] <= width_pt:
        return [word]
    parts = re.findall(r"[^-/_]*[-/_]+|[^-/_]+", word)
    if len(parts) > 1:
        return [finer for part in parts for finer in _parts(part, size_pt, width_pt)]
    count = max(1, math.floor(len(word) * width_pt / text_size_pt(word, size_pt)[0]))
    return [word[start : start + count] for start in range(0, len(word), count)]


def fit(text: str, size_pt: float, width_pt: float, weight: str = "normal") -> tuple[str, float]:
    """Return the text and the size [points] at which it is no wider than `width_pt`.

    Shrinks to two thirds at most, then shortens the text.
    """
    smallest = size_pt * 2 / 3
    while size_pt > smallest and text_size_pt(text, size_pt, weight)[0] > width_pt:
        size_pt -= 0.5
    while len(text) > 2 and text_size_pt(text, size_pt, weight)[0] > width_pt:
        text = text[:-2].rstrip() + "…"
    return text, size_pt


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return a white figure of its own, tied to no window and no session."""
    figure = Figure(
        figsize=(width_in, height_in),
        dpi=DOTS_PER_INCH,
        facecolor="white",
        edgecolor="white",
    )
    figure.set_layout_engine("none")
    FigureCanvasAgg(figure)
    return figure


def save_png(figure: Figure, path: Path) -> None:
    """Write a figure as PNG without date or program version, so that bytes repeat.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    FigureCanvasAgg(figure).print_png(
        path, metadata={"Software": None}, pil_kwargs={"compress_level": 5}
    )  # type: ignore[no-untyped-call]
