#!/usr/bin/env python3
"""Measures whole runs: the release binary against bare polars and pandas, in turn, on the same plants.

usage: python3 tests/benches/measure.py [--sizes 100000 1000000 10000000] [--repeats 5] [--work DIR] [--audit]
Needs a release build; for the baselines the packages polars and pandas; 3 GB of disk for ten million lines.
With --audit the same audit in polars expressions (audit_in_polars.py) is the one contestant, on quiet plants, and its results
are held against the program's, those of a plant with faults too; a difference ends the run.
Wall time and peak memory are those of the whole process as the system accounts for them. Nothing clears the disk
cache: every contestant reads a plant that was read just before. Within a round all contestants run once, one after
the other, and each ratio is the median of the ratios within the rounds.
"""
import argparse
import collections
import csv
import importlib.util
import os
import pathlib
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
HERE = ROOT / "tests" / "benches"
Run = collections.namedtuple("Run", "seconds peak cpu")


def once(command, allowed=(0,)):
    """Wall seconds, peak resident GiB and processor seconds of a command's process."""
    with tempfile.TemporaryFile() as said:
        start = time.perf_counter()
        process = subprocess.Popen([str(c) for c in command], stdout=said, stderr=said)
        _, status, used = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in allowed:
            said.seek(0)
            sys.exit(f"{' '.join(map(str, command))}: exit status {process.returncode}\n{said.read().decode(errors='replace')}")
    # Linux counts kilobytes, macOS bytes.
    unit = 1 if sys.platform == "darwin" else 1024
    return Run(seconds, used.ru_maxrss * unit / 1024**3, used.ru_utime + used.ru_stime)


def in_turn(contestants, repeats):
    """Rounds of one run each; the first round warms up and does not count."""
    runs = {name: [] for name in contestants}
    for number in range(repeats + 1):
        for name, (command, allowed) in contestants.items():
            run = once(command, allowed)
            if number:
                runs[name].append(run)
    return runs


def ratio(runs, above, below, field="seconds"):
    return statistics.median(getattr(a, field) / getattr(b, field) for a, b in zip(runs[above], runs[below]))


def median(runs, field="seconds"):
    return statistics.median(getattr(run, field) for run in runs)


def show(name, runs, lines):
    seconds = sorted(run.seconds for run in runs)
    print(f"  {name:<34} {median(runs):8.3f} s  ({seconds[0]:.3f} to {seconds[-1]:.3f})  {median(runs, 'cpu'):7.2f} s cpu"
          f"  {max(run.peak for run in runs):6.3f} GiB  {median(runs) / lines * 1e9:8.0f} ns/line")


def findings_are_the_planted(plant, data):
    """Sets this run's findings against those that the plant was made with."""
    rows = lambda path: collections.Counter(
        tuple(row[c] for c in ("rule", "plant", "pallet", "fixture", "circuit")) for row in csv.DictReader(open(path, encoding="utf-8", newline="")))
    found, planted = rows(data / "findings.csv"), rows(plant.with_name(plant.name + "-planted.csv"))
    missing, extra = planted - found, found - planted
    print(f"  findings: {sum(found.values())} found, {sum(planted.values())} planted, {sum(missing.values())} missing, {sum(extra.values())} false")
    for word, rest in (("missing", missing), ("false", extra)):
        for rule, count in sorted(collections.Counter(key[0] for key in rest.elements()).items()):
            print(f"    {word}: {rule} {count}")


def size(plant, args, work, baselines):
    lines = args.plants[plant]
    data = work / f"{plant.name}-data"
    check = [args.binary, "check", plant, "--data", data, "--quiet"]
    contestants = {"clampbook": (check, (0, 1))}
    for name in baselines:
        contestants[name] = ([sys.executable, HERE / f"baseline_{name}.py", plant], (0,))
    repeats = args.repeats if lines < 5_000_000 else max(3, args.repeats // 2)
    runs = in_turn(contestants, repeats)
    megabytes = sum(f.stat().st_size for f in (plant / "lists").iterdir()) / 1e6
    print(f"{lines:,} lines, {megabytes:.0f} MB, --data, {repeats} rounds:")
    for name, of in runs.items():
        show(name, of, lines)
    for name in baselines:
        print(f"  clampbook / {name}: {ratio(runs, 'clampbook', name):.2f}")
    findings_are_the_planted(plant, data)
    shutil.rmtree(data)
    return median(runs["clampbook"]) / lines, max(run.peak for run in runs["clampbook"])


def with_and_without(plant, args, work, lines):
    data = work / "remedies-data"
    command = [args.binary, "check", plant, "--data", data, "--quiet"]
    runs = in_turn({"with remedies": (command, (0, 1)), "--no-remedies": ([*command, "--no-remedies"], (0, 1))}, args.repeats)
    print(f"Remedies, {lines:,} lines, --data:")
    for name, of in runs.items():
        show(name, of, lines)
    print(f"  with / without: {ratio(runs, 'with remedies', '--no-remedies'):.2f}")
    shutil.rmtree(data)


def same_audit(args, work, lines, kind, repeats):
    """The program against the same figures, findings and needs in polars expressions."""
    plant = work / f"{kind}-{lines}"
    once([args.maker, plant, "--lines", lines, "--seed", args.seed, "--kind", kind])
    ours, theirs = (work / f"{plant.name}-{name}" for name in ("data", "polars"))
    runs = in_turn({
        "clampbook": ([args.binary, "check", plant, "--data", ours, "--quiet"], (0, 1)),
        "audit in polars": ([sys.executable, HERE / "audit_in_polars.py", plant, theirs], (0,)),
    }, repeats)
    once([sys.executable, HERE / "same_audit.py", ours, theirs])
    print(f"{lines:,} lines, {kind}, --data, {repeats} rounds; figures, findings and needs are the same:")
    for name, of in runs.items():
        show(name, of, lines)
    print(f"  clampbook / audit in polars: {ratio(runs, *runs):.2f} in wall time, {ratio(runs, *runs, 'cpu'):.2f} in processor time (aim 0.5)")
    for folder in (plant, ours, theirs):
        shutil.rmtree(folder)


def small(args, work):
    plant = work / "plant-15000"
    plant_of(args, plant, 15_000)
    outputs = ["--out", work / "report.xlsx", "--data", work / "small-data", "--quiet"]
    sample = ROOT / "sample-data" / "plant"
    contestants = {
        "15,000 lines, --data": ([args.binary, "check", plant, *outputs[2:]], (0, 1)),
        "15,000 lines, --data, --out": ([args.binary, "check", plant, *outputs], (0, 1)),
        "sample-data, --data, --out": ([args.binary, "check", sample, *outputs], (0, 1)),
    }
    runs = in_turn(contestants, 2 * args.repeats)
    print("Small runs, whole process:")
    for name, of in runs.items():
        show(name, of, 15_000 if name[0] == "1" else lines_of(sample))
    with_and_without(plant, args, work, 15_000)


def lines_of(plant):
    return sum(max(1, sum(1 for _ in f.open("rb")) - 1) for f in (plant / "lists").iterdir())


def plant_of(args, plant, lines):
    once([args.maker, plant, "--lines", lines, "--seed", args.seed])


def arguments():
    exe = ".exe" if os.name == "nt" else ""
    release = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--sizes", type=int, nargs="+", default=[100_000, 1_000_000, 10_000_000])
    p.add_argument("--repeats", type=int, default=5)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--audit", action="store_true", help="against the same audit in polars, and nothing else")
    p.add_argument("--work", type=pathlib.Path, help="a folder with room; a temporary one where not given")
    p.add_argument("--binary", type=pathlib.Path, default=release / f"clampbook{exe}")
    p.add_argument("--maker", type=pathlib.Path, default=release / "examples" / f"bench_plant{exe}")
    return p.parse_args()


def main():
    args = arguments()
    for path, command in ((args.binary, "cargo build --release"), (args.maker, "cargo build --release --example bench_plant")):
        if not path.is_file():
            sys.exit(f"{path} is not there. Run: {command}")
    baselines = [name for name in ("polars", "pandas") if importlib.util.find_spec(name)]
    print(f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, baselines: {', '.join(baselines) or 'none'}")
    with tempfile.TemporaryDirectory(dir=args.work, prefix="measure-") as folder:
        work = pathlib.Path(folder)
        if args.audit:
            same_audit(args, work, 100_000, "mixed", 1)
            for lines in sorted(args.sizes):
                same_audit(args, work, lines, "quiet", args.repeats)
            return
        small(args, work)
        costs, args.plants = {}, {}
        for lines in sorted(args.sizes):
            plant = work / f"plant-{lines}"
            plant_of(args, plant, lines)
            args.plants[plant] = lines
            costs[lines] = size(plant, args, work, baselines)
            if lines == 1_000_000:
                with_and_without(plant, args, work, lines)
            shutil.rmtree(plant)
        flat(costs)


def flat(costs):
    """Cost per line and memory against size."""
    if len(costs) < 2:
        return
    per_line = {n: cost for n, (cost, _) in costs.items()}
    least, most = min(costs), max(costs)
    print("Cost per line: " + ", ".join(f"{n:,}: {c * 1e9:.0f} ns" for n, c in per_line.items())
          + f"; highest / lowest: {max(per_line.values()) / min(per_line.values()):.2f}")
    slope = (costs[most][1] - costs[least][1]) / (most - least)
    print(f"Memory: {slope * 1024**3:.0f} bytes a line from {least:,} to {most:,}; "
          f"100 million lines on that slope: {costs[most][1] + slope * (100_000_000 - most):.2f} GiB")


if __name__ == "__main__":
    main()
