#!/usr/bin/env python3
"""Holds two audits of one plant against each other: figures, verdicts, findings and needs.

usage: python3 tests/benches/same_audit.py DATA OTHER          (pip install polars)
Each is a folder with circuits.csv, findings.csv and purchase.csv. Numbers may differ by 1e-9 of themselves, all else not at
all; of the findings rule, severity, place, what was measured, limit and unit are compared, not their words. Exit status 1
with a sentence at the first table that differs.
"""
import pathlib
import sys

import polars as pl

PLACE = ["plant", "pallet", "fixture", "circuit"]
FINDING = ["rule", "severity", *PLACE, "side", "position", "part_no"]
# Table: what makes a row one of a kind, the columns to compare (all where None).
TABLES = {
    "circuits.csv": (PLACE, None),
    "findings.csv": (FINDING, [*FINDING, "measured", "limit", "unit"]),
    "purchase.csv": (["part_no"], None),
}
# Words in any order.
SETS = {"not_assessed", "not_asked"}
TOLERANCE = 1e-9


def table(path, columns):
    texts = pl.read_csv(path, infer_schema=False).fill_null("")
    if columns is None:
        return texts
    return texts.select(columns)


def differs(name):
    """Where a column and its counterpart are not the same: numbers by tolerance, where both cells are one."""
    ours, theirs = pl.col(name), pl.col(f"{name}_other")
    if name in SETS:
        return ours.str.split(" ").list.sort() != theirs.str.split(" ").list.sort()
    numbers = [cell.cast(pl.Float64, strict=False) for cell in (ours, theirs)]
    apart = (numbers[0] - numbers[1]).abs() > TOLERANCE * pl.max_horizontal(numbers[0].abs(), numbers[1].abs())
    return (ours != theirs) & apart.fill_null(True)


def difference(folders, name):
    """A sentence on the first difference of a table, or None."""
    key, columns = TABLES[name]
    # Rows of one key, as two findings of a rule on one place are, are told apart by their number in order.
    nth = pl.int_range(pl.len()).over(key).alias("nth")
    ours, theirs = (table(folder / name, columns).sort(columns or key).with_columns(nth) for folder in folders)
    if ours.columns != theirs.columns:
        return f"{name}: columns {', '.join(ours.columns)} stand against {', '.join(theirs.columns)}."
    for here, there, folder in ((ours, theirs, folders[0]), (theirs, ours, folders[1])):
        alone = here.join(there, on=[*key, "nth"], how="anti")
        if alone.height:
            return f"{name}: {alone.height} rows are in {folder} alone, first {'/'.join(map(str, alone.select(key).row(0)))}."
    pairs = ours.join(theirs, on=[*key, "nth"], suffix="_other")
    compared = [column for column in ours.columns if column not in (*key, "nth")]
    counts = pairs.select(differs(column).sum().alias(column) for column in compared).row(0, named=True)
    for column, count in counts.items():
        if count:
            row = pairs.filter(differs(column)).row(0, named=True)
            return (f"{name}, {column}: {count} of {pairs.height} rows differ, first {'/'.join(row[k] for k in key)}: "
                    f"'{row[column]}' and '{row[column + '_other']}'.")
    print(f"{name}: {pairs.height} rows, {len(compared)} columns the same.")
    return None


def main(*folders):
    folders = [pathlib.Path(folder) for folder in folders]
    for name in TABLES:
        if said := difference(folders, name):
            sys.exit(said)


if __name__ == "__main__":
    main(*sys.argv[1:])
