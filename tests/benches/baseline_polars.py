"""The least that any audit has to do, in bare polars: scan, join, group-by, on the streaming engine.

usage: baseline_polars.py PLANT          (pip install polars)
"""
import math
import pathlib
import resource
import sys
import time

import polars as pl

PLACE = ["plant", "pallet", "fixture", "circuit"]


def main(folder):
    start = time.perf_counter()
    folder = pathlib.Path(folder)
    lines = pl.scan_csv(
        folder / "lists" / "*.csv",
        schema={**dict.fromkeys([*PLACE, "position", "part_no"], pl.String), "qty": pl.Float64, "length": pl.Float64},
        null_values=["", "6OO"],  # the unreadable length of bench plants
    )
    parts = pl.scan_csv(folder / "components.csv", infer_schema_length=None).select(
        "part_no",
        "rated_pressure",
        "capacity",
        swept=pl.col("area_clamp") * pl.col("stroke") / 1000,
        bore=pl.col("inner_diameter") ** 2 * (math.pi / 4000),
        dead="dead_volume",
    )
    qty = pl.col("qty")
    circuits = (
        lines.join(parts, on="part_no", how="left")
        .group_by(PLACE)
        .agg(
            swept=(qty * pl.col("swept")).sum(),
            line=(qty * pl.col("bore") * pl.col("length")).sum(),
            dead=(qty * pl.col("dead")).sum(),
            capacity=(qty * pl.col("capacity")).sum(),
            weakest=pl.col("rated_pressure").min(),
            lines=pl.len(),
        )
        .collect(engine="streaming")
    )
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"polars {pl.__version__}: {circuits['lines'].sum()} lines, {circuits.height} circuits, {seconds:.2f} s, {peak:.2f} GiB")


if __name__ == "__main__":
    main(sys.argv[1])
