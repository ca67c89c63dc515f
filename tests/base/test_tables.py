"""Tables of values: read as typed, refused with every fault at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dewpond.base.errors import InputError
from dewpond.base.tables import Column, packaged_table, read_table

COLUMNS = {
    "name": Column(),
    "price": Column("number", least=0, most=100),
    "trade": Column(choices=("pipe", "trough")),
    "in_stock": Column("yes or no", blank=True),
    "note": Column(blank=True),
    "weight": Column("number", blank=True),
}
HEADER = "name,price,trade,in_stock,note,weight\n"


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "prices.csv"
    path.write_bytes(text.encode(encoding))
    return path


def faults(folder: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_table(written(folder, text), COLUMNS)
    return [str(fault) for fault in caught.value.faults]


def test_values_come_with_their_types_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = HEADER + '"pipe, 32 mm", 1.50 ,pipe,yes,°C,\n\ntank,0,trough,,,12\n'
    table = read_table(written(tmp_path, text, "utf-8-sig"), COLUMNS)
    assert list(table.columns) == list(COLUMNS)
    assert table["name"].tolist() == ["pipe, 32 mm", "tank"]
    assert table["price"].tolist() == [1.5, 0.0]
    assert table["in_stock"].tolist() == [True, None]
    assert table["note"].tolist() == ["°C", ""]
    assert np.isnan(table["weight"][0])
    assert table["weight"].dtype == float


def test_columns_may_stand_in_any_order(tmp_path: Path) -> None:
    text = "weight,note,in_stock,trade,price,name\n1,,no,pipe,2,a\n"
    table = read_table(written(tmp_path, text), COLUMNS)
    assert table.loc[0].tolist() == ["a", 2.0, "pipe", False, "", 1.0]


def test_every_bad_cell_is_named_with_its_line(tmp_path: Path) -> None:
    found = faults(tmp_path, HEADER + "a,dear,pipes,maybe,,\n,101,pipe,,,nan\nb,2,pipe\n")
    assert [text.split(":")[0] for text in found] == [
        "prices.csv, line 2, price",
        "prices.csv, line 2, trade",
        "prices.csv, line 2, in_stock",
        "prices.csv, line 3, name",
        "prices.csv, line 3, price",
        "prices.csv, line 3, weight",
        "prices.csv, line 4",
    ]
    assert '"dear"' in found[0]
    assert "at least 0 and at most 100" in found[0]
    assert 'did you mean "pipe"?' in found[1]


def test_header_faults_name_the_nearest_column(tmp_path: Path) -> None:
    found = faults(tmp_path, HEADER.replace("price", "prise").replace("weight", "name") + "\n")
    assert len(found) == 4
    assert 'column "price" is missing' in found[0]
    assert 'did you mean "price"?' in found[2]
    assert 'column "name" stands twice' in found[3]


@pytest.mark.parametrize("text", [HEADER, HEADER + "\n , , ,,,\n"])
def test_table_without_rows_is_refused(tmp_path: Path, text: str) -> None:
    text = text.replace(" ", "")
    assert faults(tmp_path, text) == ["prices.csv: holds no rows"]


def test_missing_empty_and_undecodable_files_are_input_faults(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_table(tmp_path / "absent.csv", COLUMNS)
    with pytest.raises(InputError, match='column "name" is missing'):
        read_table(written(tmp_path, ""), COLUMNS)
    with pytest.raises(InputError, match="is not a CSV table"):
        read_table(written(tmp_path, HEADER + "café,1,pipe,,,\n", "latin-1"), COLUMNS)


def test_packaged_tables_are_found() -> None:
    columns = {
        name: Column(blank=True)
        for name in (
            "table", "species", "stock_class", "weight", "weight_unit", "air_temperature",
            "temperature_unit", "value", "unit", "evidence", "source",
        )
    }  # fmt: skip
    table = packaged_table("stock.csv", columns)
    assert (table["source"] != "").all()
    assert (table["unit"] != "").all()
