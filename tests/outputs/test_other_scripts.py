"""Letters that the usual font lacks, taken from others where there are others."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from dewpond.outputs.drawing import lettering as letter

FONTS = Path(mpl.get_data_path()) / "fonts" / "ttf"


def picture(text: str) -> np.ndarray:
    figure = letter.new_figure(3.0, 0.6)
    figure.text(0.05, 0.4, text, fontproperties=letter.font(14), parse_math=False)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()  # a letter that no font has would warn, and warnings are errors here
    return np.asarray(canvas.buffer_rgba()).copy()


@pytest.fixture
def no_others(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(letter, "_other_files", lambda weight: ())
    letter._known_letters.cache_clear()
    yield
    letter._known_letters.cache_clear()


@pytest.fixture
def serif_beside(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(letter, "_other_files", lambda weight: (FONTS / "DejaVuSerif.ttf",))
    letter._known_letters.cache_clear()
    yield
    letter._known_letters.cache_clear()


class TestAnyOtherFont:
    """With a serif that ships with the drawing library in place of the extra fonts."""

    LETTER = "\u1d15"

    @pytest.mark.usefixtures("no_others")
    def test_alone_it_is_a_box(self) -> None:
        assert letter.plain(f"{self.LETTER} field") == "□ field"

    @pytest.mark.usefixtures("serif_beside")
    def test_beside_it_is_drawn(self) -> None:
        assert letter.plain(f"{self.LETTER} field") == f"{self.LETTER} field"
        assert not np.array_equal(picture(self.LETTER), picture("□"))
        assert letter.text_size_pt(self.LETTER, 10)[0] > 0

    def test_letters_of_the_usual_font_stay_the_same(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A drawing in a script that the usual font has is the same with and without others."""
        monkeypatch.setattr(letter, "_other_files", lambda weight: ())
        alone = picture("Top Field, 12.5 ha, Поле, حقل")
        monkeypatch.setattr(letter, "_other_files", lambda weight: (FONTS / "DejaVuSerif.ttf",))
        assert np.array_equal(picture("Top Field, 12.5 ha, Поле, حقل"), alone)


class TestExtraFonts:
    @pytest.fixture(autouse=True)
    def installed(self) -> None:
        pytest.importorskip("weblate_fonts", reason="the extra `letters` is not installed")

    @pytest.mark.parametrize("name", ["खेत उत्तर", "ทุ่งนา", "牧草地", "北の牧場", "목초지", "ٱلحقل"])
    def test_names_are_drawn_as_they_are(self, name: str) -> None:
        assert letter.plain(name) == name
        assert picture(name)[..., :3].min() < 100


@pytest.mark.usefixtures("no_others")
def test_arabic_is_joined_and_runs_right_to_left() -> None:
    """A word is no row of its single letters, and its first letter stands at the right.

    Shaping came with matplotlib 3.11; before it Arabic was drawn letter by letter.
    """
    joined, spaced = (letter.text_size_pt(text, 20)[0] for text in ("بيت", "ب\u200cي\u200cت"))
    assert joined < 0.9 * spaced
    figure = picture("אב")[..., 0] < 128
    alone = picture("א")[..., 0] < 128
    # Alef is drawn at the right of bet: the left part of the pair is not alef.
    width = np.flatnonzero(alone.any(axis=0))
    span = slice(width[0], width[-1] + 1)
    assert not np.array_equal(figure[:, span], alone[:, span])
