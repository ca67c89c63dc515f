"""Colours of the proposal: contrast, order of the shades, and what colour-blind readers see."""

from __future__ import annotations

import re
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest

import dewpond.outputs.proposal as proposal

CSS = (Path(str(proposal.__file__)).parent / "templates" / "proposal.css").read_text("utf-8")
WHITE = np.ones(3)
OPACITY = 0.55

# Dichromats, from linear RGB: Machado, Oliveira & Fernandes, IEEE Transactions on Visualization
# and Computer Graphics 15 (2009), 1291-1298, table for severity 1 (from memory).
SEEN_BY = {
    "protanope": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                  [-0.003882, -0.048116, 1.051998]],
    "deuteranope": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                    [-0.011820, 0.042940, 0.968881]],
    "tritanope": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                  [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def variable(name: str) -> np.ndarray:
    return rgb(re.search(rf"--{name}: (#\w+)", CSS)[1])  # type: ignore[index]


def rgb(sign: str) -> np.ndarray:
    return np.array([int(sign[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def shades() -> list[np.ndarray]:
    """Shades of walking distance from near to far, as they lie over white ground."""
    found = re.findall(r"\.shade-(\d) \{ fill: (#\w+)", CSS)
    assert [int(number) for number, _ in found] == list(range(6))
    return [OPACITY * rgb(sign) + (1 - OPACITY) * WHITE for _, sign in found]


def linear(colour: np.ndarray) -> np.ndarray:
    return np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)


def luminance(colour: np.ndarray) -> float:
    """WCAG 2.2, relative luminance."""
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    """WCAG 2.2, contrast ratio."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white() -> None:
    """WCAG 2.2: 21 to 1, the greatest there is; #767676 is the lightest grey with 4.5 to 1."""
    assert contrast(np.zeros(3), WHITE) == pytest.approx(21.0)
    assert contrast(rgb("#767676"), WHITE) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("name", ["ink", "muted", "deep", "pipe", "focus", "yes", "no"])
def test_text_on_white_meets_level_aa(name: str) -> None:
    assert contrast(variable(name), WHITE) >= 4.5


@pytest.mark.parametrize("name", ["pipe", "focus", "ink"])
def test_lines_stand_out_on_every_shade(name: str) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for graphics that carry meaning."""
    for shade in shades():
        assert contrast(variable(name), shade) >= 3.0


def test_the_opacity_is_that_of_the_page() -> None:
    assert re.search(rf"\.walks \{{ opacity: {OPACITY:g}".replace("0.", "0?."), CSS)


def test_shades_darken_with_the_walk_also_in_grey() -> None:
    tones = [luminance(shade) for shade in shades()]
    assert all(near > far + 0.03 for near, far in pairwise(tones))


@pytest.mark.parametrize("reader", SEEN_BY)
def test_colours_that_tell_things_apart_differ_for_colour_blind_readers(reader: str) -> None:
    """Air valve, washout, pipe, hatch and verdicts, by their distance in linear RGB."""
    names = {"air valve": "#d55e00", "washout": "#117755", "pipe": "#0a4a8f", "hatch": "#7a0177"}
    for sign in names.values():
        assert sign in CSS
    matrix = np.array(SEEN_BY[reader])
    seen = {name: matrix @ linear(rgb(sign)) for name, sign in names.items()}
    for one, other in combinations(seen, 2):
        assert np.abs(seen[one] - seen[other]).max() > 0.03, (one, other)
    tones = [matrix @ linear(shade) for shade in shades()]
    assert all(np.abs(a - b).max() > 0.03 for a, b in pairwise(tones))
