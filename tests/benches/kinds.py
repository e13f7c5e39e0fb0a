#!/usr/bin/env python3
"""Measures plants of every kind against a quiet one of the same size, in turn.

usage: python3 tests/benches/kinds.py [--lines 200000] [--repeats 3] [--kinds low-fill weak-parts ...] [--before BINARY]
Needs a release build and the example bench_plant. Processor time is user and system time of the whole process as the
system accounts for it, which other work on the machine disturbs less than wall time. Within a round the quiet plant
and all others run once, one after the other; a ratio is the median of the ratios within the rounds. With --before
another build runs in the same rounds, to be compared with.
"""
import argparse
import collections
import csv
import pathlib
import platform
import statistics
import sys
import tempfile

import measure

KINDS = ["low-fill", "weak-parts", "no-cure", "low-station", "one-circuit", "one-fixture", "three-lines", "shuffled", "holding"]
# The aims: what fails everywhere may cost five times a quiet plant, all else 1.3 times.
FAILING = {"low-fill", "weak-parts", "no-cure", "low-station"}


def findings_of(data):
    with open(data / "findings.csv", encoding="utf-8", newline="") as rows:
        return collections.Counter(row["rule"] for row in csv.DictReader(rows))


def planted_in(plant):
    with open(plant.with_name(plant.name + "-planted.csv"), encoding="utf-8", newline="") as rows:
        return collections.Counter(row["rule"] for row in csv.DictReader(rows))


def circuits_of(data):
    with open(data / "circuits.csv", encoding="utf-8", newline="") as rows:
        return sum(1 for _ in rows) - 1


def arguments():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    release = measure.ROOT / "target" / "release"
    parser.add_argument("--lines", type=int, default=200_000)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--kinds", nargs="+", default=KINDS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--work", type=pathlib.Path, help="a folder with room; a temporary one where not given")
    parser.add_argument("--binary", type=pathlib.Path, default=release / "clampbook")
    parser.add_argument("--before", type=pathlib.Path, help="another build, in the same rounds")
    parser.add_argument("--maker", type=pathlib.Path, default=release / "examples" / "bench_plant")
    return parser.parse_args()


def main():
    args = arguments()
    builds = {"": args.binary} | ({" before": args.before} if args.before else {})
    print(f"{platform.system()} {platform.machine()}, {args.lines:,} lines a plant, {args.repeats} rounds, processor time")
    with tempfile.TemporaryDirectory(dir=args.work, prefix="kinds-") as folder:
        work = pathlib.Path(folder)
        contestants = {}
        for kind in ["quiet", *args.kinds]:
            measure.once([args.maker, work / kind, "--lines", args.lines, "--seed", args.seed, "--kind", kind])
            for name, binary in builds.items():
                command = [binary, "check", work / kind, "--data", work / f"{kind}{name}-data", "--quiet"]
                contestants[kind + name] = (command, (0, 1))
        runs = measure.in_turn(contestants, args.repeats)
        for build in builds:
            for kind in ["quiet", *args.kinds]:
                of = runs[kind + build]
                ratio = statistics.median(a.cpu / b.cpu for a, b in zip(of, runs["quiet" + build]))
                data = work / f"{kind}{build}-data"
                found, planted = findings_of(data), planted_in(work / kind)
                said = "as planted" if found == planted else f"found {dict(found)}, planted {dict(planted)}"
                aim = "" if kind == "quiet" else f" (aim {5.0 if kind in FAILING else 1.3})"
                print(f"  {kind + build:<20} {measure.median(of, 'cpu'):8.2f} s cpu {measure.median(of):8.2f} s wall  "
                      f"{ratio:6.2f} x quiet{aim:<10} {max(run.peak for run in of) * 1024:6.0f} MiB  "
                      f"{circuits_of(data):,} circuits  findings {said}")


if __name__ == "__main__":
    sys.exit(main())
