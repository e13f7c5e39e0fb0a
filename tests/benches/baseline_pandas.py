"""A script that does the join and the sums of an audit in pandas, and nothing else.

usage: baseline_pandas.py PLANT          (pip install pandas)
"""
import math
import pathlib
import resource
import sys
import time

import pandas as pd

PLACE = ["plant", "pallet", "fixture", "circuit"]


def main(folder):
    start = time.perf_counter()
    folder = pathlib.Path(folder)
    files = sorted((folder / "lists").glob("*.csv"))
    text = dict.fromkeys([*PLACE, "part_no"], str)
    # "6OO" is the unreadable length of bench plants.
    lines = pd.concat([pd.read_csv(f, dtype=text, usecols=[*text, "qty", "length"], na_values=["6OO"]) for f in files])
    parts = pd.read_csv(folder / "components.csv")
    parts["swept"] = parts.area_clamp * parts.stroke / 1000
    parts["bore"] = parts.inner_diameter**2 * (math.pi / 4000)
    joined = lines.merge(parts[["part_no", "rated_pressure", "capacity", "swept", "bore", "dead_volume"]], on="part_no", how="left")
    joined["swept"] *= joined.qty
    joined["line"] = joined.qty * joined.bore * joined.length
    joined["dead"] = joined.qty * joined.dead_volume
    joined["capacity"] *= joined.qty
    circuits = joined.groupby(PLACE, sort=False).agg(
        swept=("swept", "sum"), line=("line", "sum"), dead=("dead", "sum"), capacity=("capacity", "sum"),
        weakest=("rated_pressure", "min"), lines=("part_no", "size"),
    )
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"pandas {pd.__version__}: {circuits.lines.sum()} lines, {len(circuits)} circuits, {seconds:.2f} s, {peak:.2f} GiB")


if __name__ == "__main__":
    main(sys.argv[1])
