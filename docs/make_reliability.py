"""Draw the pictures of docs/explanation/confidence.md: why correlation matters, and calibration.

Run with ``python docs/make_reliability.py`` after ``tests/calibration/run_calibration.py``.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from dewpond.base.heighterror import (
    ErrorPoints,
    HeightError,
    covariance_m2,
    published_error,
    simulate_errors,
)

HERE = Path(__file__).resolve().parent
CALIBRATION = HERE.parent / "tests" / "calibration"
BLUE, RUST, GREY, GREEN = "#1d5b79", "#b4552d", "#7a7a72", "#4c7a3f"
BINS = [0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0001]
ASKED = (0.8, 0.9)
TABLE_MARKS = "<!-- trials -->", "<!-- end of trials -->"


# -- why correlation matters --------------------------------------------------------------------


def draw_correlation(path: Path) -> None:
    """Draw the same size of error alike over the farm and not, and what that makes of a head."""
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 4.4), layout="constrained")
    radar = published_error("radar surface 30 m")
    alone = HeightError(radar.standard_deviation_m, 1e-3, 1e9, 0.0)
    _draw_lines(left, radar, alone)
    _draw_heads(right, radar, alone)
    figure.savefig(path, dpi=130)
    plt.close(figure)


def _draw_lines(axes: Axes, radar: HeightError, alone: HeightError) -> None:
    along = np.arange(0.0, 1_001.0, 10.0)
    points = ErrorPoints(along, np.zeros(along.size))
    for error, colour, label, shift in (
        (alone, RUST, "nothing in common (white noise)", 0.0),
        (radar, BLUE, "7/8 of the variance in common", 14.0),
    ):
        drawn = simulate_errors(error, points, 3, random_state=5)
        for number, line in enumerate(drawn):
            axes.plot(along, line + shift, color=colour, lw=1.1, alpha=1.0 - 0.3 * number)
        axes.axhline(shift, color=GREY, lw=0.8, ls=":")
        axes.text(1_000, shift + 6.9, label, color=colour, ha="right", va="bottom")
    axes.set(xlabel="along a pipe, m", ylabel="error of the height, m (three draws each)")
    axes.set_yticks([-5, 0, 5, 9, 14, 19], ["−5", "0", "+5", "−5", "0", "+5"])
    axes.set_ylim(-8, 23)
    axes.set_title("Errors of one size, 2.43 m at each point", loc="left", fontsize=11)


def _draw_heads(axes: Axes, radar: HeightError, alone: HeightError) -> None:
    apart = np.geomspace(5, 2_000, 200)
    axes.plot(apart, _head_m(alone, apart), color=RUST, label="nothing in common")
    axes.plot(apart, _head_m(radar, apart), color=BLUE, label="as taken: short 120 m, long 50 km")
    flat = HeightError(radar.standard_deviation_m, 120.0, 1e12, radar.long_share)
    axes.plot(apart, _head_m(flat, apart), color=BLUE, ls="--", lw=1,
              label="as published: common part the same everywhere")  # fmt: skip
    axes.plot(60, 1.07, "o", color=BLUE, ms=5)
    axes.annotate("1.07 m at 60 m", (60, 1.07), (75, 0.6), color=BLUE)
    axes.text(2_000, 1.05, "1.22 m", color=BLUE, ha="right", va="top")
    axes.text(2_000, 3.38, "3.44 m", color=RUST, ha="right", va="top")
    real = two_surveys()
    axes.plot(real["apart_m"], real["deviation_m"], "s", color=GREEN, ms=4,
              label="two radar missions against each other,\nground under 20 %")  # fmt: skip
    axes.set(xscale="log", ylim=(0, 6.2), xlabel="distance from the tank, m",
             ylabel="standard deviation of a head, m")  # fmt: skip
    axes.set_xticks([10, 30, 100, 300, 1_000], ["10", "30", "100", "300", "1,000"])
    axes.set_title("The head between two points", loc="left", fontsize=11)
    axes.legend(frameon=False, fontsize=8.5, loc="upper left")


def _head_m(error: HeightError, apart_m: np.ndarray) -> np.ndarray:
    shared = covariance_m2(error, [0.0], [0.0], apart_m, np.zeros(apart_m.size))[0]
    return np.sqrt(2 * (error.standard_deviation_m**2 - shared))


def two_surveys() -> pd.DataFrame:
    """Return how far the differences of two real surveys differ over a distance."""
    with np.load(CALIBRATION / "data" / "two_radar_surfaces.npz") as data:
        first, second = data["first_dm"] / 10.0, data["second_m"].astype(float)
    cell_m = 111_320.0 / 3_600 * np.cos(np.radians(34.95))
    slope = np.hypot(*np.gradient(first, 30.8, cell_m))
    apart, gentle = second - first, slope < 0.2
    rows = []
    for lag in (1, 2, 3, 4, 6, 8, 12, 16, 24, 40, 72):
        both = gentle[:, lag:] & gentle[:, :-lag]
        rows.append((lag * cell_m, (apart[:, lag:] - apart[:, :-lag])[both].std()))
    return pd.DataFrame(rows, columns=["apart_m", "deviation_m"])


# -- calibration --------------------------------------------------------------------------------


def read_results() -> pd.DataFrame:
    """Return the trials of which a plan came."""
    table = pd.read_csv(CALIBRATION / "results.csv", keep_default_na=False)
    table = table[table["reason"] == ""].copy()
    for column in ("chance_all", "chance_one", "low_m", "high_m", "true_m"):
        table[column] = table[column].astype(float)
    for column in ("all", "one"):
        table[column] = table[column].astype(str) == "True"
    return table


def interval(happened: int, count: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (Wilson 1927)."""
    z, share = 1.96, happened / count
    middle = (share + z**2 / (2 * count)) / (1 + z**2 / count)
    half = z / (1 + z**2 / count) * np.sqrt(share * (1 - share) / count + z**2 / (4 * count**2))
    return middle - half, middle + half


def _with_finer(table: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    """Yield each case, and some once more without the ground seen at 100 m only."""
    for case, part in table.groupby("case", sort=False):
        yield case, part
        if case in ("whole plan", "as assumed", "as assumed, three levels"):
            yield f"{case}, posting up to 33 m", part[part["ground"] != "lancashire"]


def figures(table: pd.DataFrame) -> pd.DataFrame:
    """Return what each case promised and what happened, one row for each."""
    rows = []
    for case, part in _with_finer(table):
        row = {"case": case, "trials": part["trial"].nunique()}
        for chance, event in (("chance_all", "all"), ("chance_one", "one")):
            asked = part[(part[chance] >= ASKED[0]) & (part[chance] < ASKED[1])]
            row[f"{event}_asked"] = len(asked)
            row[f"{event}_happened"] = int(asked[event].sum())
            row[f"{event}_promised"] = part[chance].mean()
            row[f"{event}_found"] = part[event].mean()
        within = (part["true_m"] >= part["low_m"]) & (part["true_m"] <= part["high_m"])
        row["in_band"] = within.mean()
        rows.append(row)
    return pd.DataFrame(rows)


def table_lines(found: pd.DataFrame | None = None) -> list[str]:
    """Return the figures as the lines of a table for the page."""
    found = figures(read_results()) if found is None else found
    lines = [
        "| The error really is | Holdings | All outlets: came true of 80–90 % | "
        "One outlet: came true of 80–90 % | All outlets: promised, found on average | "
        "Heads within the 90 % band |",
        "|---|---|---|---|---|---|",
    ]
    for case in found.itertuples():
        every = _share(case.all_happened, case.all_asked)
        one = _share(case.one_happened, case.one_asked)
        lines.append(
            f"| {case.case} | {case.trials} | {every} | {one} | "
            f"{100 * case.all_promised:.0f} %, {100 * case.all_found:.0f} % | "
            f"{100 * case.in_band:.0f} % |"
        )
    return lines


def _share(happened: int, asked: int) -> str:
    return f"{happened} of {asked} ({100 * happened / asked:.0f} %)" if asked else "none asked"


def write_table(page: Path) -> None:
    """Put the table into the page, between its two marks."""
    text = page.read_text(encoding="utf-8")
    before, rest = text.split(TABLE_MARKS[0])
    _, after = rest.split(TABLE_MARKS[1])
    table = "\n".join(["", "", *table_lines(), "", ""])
    page.write_text(before + TABLE_MARKS[0] + table + TABLE_MARKS[1] + after, encoding="utf-8")


def draw_reliability(path: Path) -> None:
    """Draw promised against found, and every case at promises of 80 to 90 %."""
    table = read_results()
    found = figures(table)
    figure, axes = plt.subplot_mosaic(
        [["whole", "cases"], ["real", "cases"]], figsize=(11.5, 8.6), width_ratios=[1, 1.25],
        layout="constrained",
    )  # fmt: skip
    whole = table[table["case"] == "whole plan"]
    _draw_diagram(axes["whole"], [
        (whole, "chance_all", "all", BLUE, "every outlet works"),
        (whole, "chance_one", "one", RUST, "one outlet, drawn by lot, works"),
    ])  # fmt: skip
    axes["whole"].set_title(f"Whole plans of {len(whole)} holdings", loc="left", fontsize=11)
    real = table[table["case"] == "two surveys, as measured beside"]
    _draw_diagram(axes["real"], [
        (real, "chance_all", "all", BLUE, "every outlet works"),
        (real, "chance_one", "one", RUST, "one outlet, drawn by lot, works"),
    ])  # fmt: skip
    axes["real"].set_title(f"Two real surveys, {len(real)} holdings", loc="left", fontsize=11)
    _draw_cases(axes["cases"], found)
    figure.savefig(path, dpi=130)
    plt.close(figure)


def _draw_diagram(axes: Axes, series: list[tuple[pd.DataFrame, str, str, str, str]]) -> None:
    axes.plot([0, 1], [0, 1], color=GREY, lw=1, ls=":")
    for position, (table, chance, event, colour, label) in enumerate(series):
        aside = (-0.009, 0.009)[position]
        place = np.digitize(table[chance], BINS) - 1
        for number, part in table.groupby(place):
            count, happened = len(part), int(part[event].sum())
            x, low_high = part[chance].mean() + aside, interval(happened, count)
            axes.plot([x, x], low_high, color=colour, lw=1.2)
            axes.plot(x, happened / count, "o", color=colour, ms=5,
                      label=label if number == place.max() else None)  # fmt: skip
            axes.annotate(str(count), (x, low_high[1 - position]),
                          ((-1, 2), (1, -9))[position], textcoords="offset points",
                          ha=("right", "left")[position], fontsize=8, color=colour)  # fmt: skip
    axes.set(xlim=(-0.05, 1.08), ylim=(-0.06, 1.12), xlabel="chance promised",
             ylabel="share that came true")  # fmt: skip
    axes.legend(frameon=False, fontsize=9, loc="upper left")


def _draw_cases(axes: Axes, found: pd.DataFrame) -> None:
    axes.axvspan(0.75, 0.95, color="#e9ecdf", lw=0)
    axes.axvspan(0.8, 0.9, color="#d6dcc4", lw=0)
    for row, case in enumerate(found.itertuples()):
        for event, colour, aside in (("all", BLUE, -0.16), ("one", RUST, 0.16)):
            count = getattr(case, f"{event}_asked")
            if not count:
                continue
            happened = getattr(case, f"{event}_happened")
            axes.plot(interval(happened, count), [row + aside] * 2, color=colour, lw=1.2)
            axes.plot(happened / count, row + aside, "o", color=colour, ms=5)
        axes.text(1.02, row, f"{case.all_asked} and {case.one_asked}", va="center", fontsize=8,
                  color=GREY, transform=axes.get_yaxis_transform())  # fmt: skip
    axes.set_yticks(range(len(found)), found["case"], fontsize=9)
    axes.invert_yaxis()
    axes.set(xlim=(0.2, 1.02), xlabel="share that came true of what was promised at 80 to 90 %")
    axes.text(1.02, -1.0, "events", fontsize=8, color=GREY, transform=axes.get_yaxis_transform())
    axes.set_title("What if the error is not as assumed", loc="left", fontsize=11)


if __name__ == "__main__":
    draw_correlation(HERE / "images" / "height-correlation.png")
    if "--correlation" not in sys.argv:
        draw_reliability(HERE / "images" / "reliability.png")
        write_table(HERE / "explanation" / "confidence.md")
        pd.set_option("display.width", 200)
        sys.stdout.write(figures(read_results()).round(3).to_string() + "\n")
