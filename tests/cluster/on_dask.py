#!/usr/bin/env python3
"""Audits a plant in parts on a Dask cluster and merges them.

usage: on_dask.py PLANT --data DIR [--parts 8] [--scheduler tcp://host:8786] [--binary clampbook]
Needs the package distributed (PyPI). Without --scheduler a cluster of processes is started on this machine and ended
with the run. Every worker must see the plant and the folder of the parts under the same path (a shared file system),
and have the program. Exit status is that of `merge`, so that of one whole run; 2 where a part could not be audited.
"""
import argparse
import pathlib
import subprocess
import sys
import tempfile


def audit(binary, plant, part, parts, data, options):
    """One part, on a worker: exit status and what was said."""
    command = [binary, "check", plant, "--shard", f"{part}/{parts}", "--data", data, "--quiet", *options]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.returncode, done.stderr.strip()


def arguments(given):
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("plant", type=pathlib.Path)
    parser.add_argument("--data", type=pathlib.Path, required=True, help="where the data files of the whole go")
    parser.add_argument("--parts", type=int, default=8)
    parser.add_argument("--scheduler", help="address of a running cluster")
    parser.add_argument("--workers", type=int, default=2, help="processes of a cluster on this machine")
    parser.add_argument("--work", type=pathlib.Path, help="a folder that all workers see; beside --data where not given")
    parser.add_argument("--binary", default="clampbook")
    parser.add_argument("--option", action="append", default=[], help="goes to each part's check, as --option=--no-remedies")
    return parser.parse_args(given)


def on_cluster(client, args, work):
    """Audits all parts; the folders, or nothing where one failed."""
    plant = str(args.plant.resolve())
    folders = [str(work / f"part-{part}") for part in range(1, args.parts + 1)]
    futures = [
        client.submit(audit, args.binary, plant, part, args.parts, folder, args.option, pure=False)
        for part, folder in enumerate(folders, 1)
    ]
    failed = False
    for part, (status, said) in enumerate(client.gather(futures), 1):
        if status not in (0, 1):
            print(f"Part {part}/{args.parts} ended with status {status}: {said}", file=sys.stderr)
            failed = True
    return None if failed else folders


def main(given=None):
    from distributed import Client, LocalCluster

    args = arguments(given)
    parent = args.work or args.data.resolve().parent
    with tempfile.TemporaryDirectory(dir=parent, prefix="parts-") as work:
        if args.scheduler:
            with Client(args.scheduler) as client:
                folders = on_cluster(client, args, pathlib.Path(work))
        else:
            # Each process audits one part with all its threads.
            with LocalCluster(n_workers=args.workers, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
                with Client(cluster) as client:
                    folders = on_cluster(client, args, pathlib.Path(work))
        if folders is None:
            return 2
        return subprocess.run([args.binary, "merge", *folders, "--data", str(args.data)], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
