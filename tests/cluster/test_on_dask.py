#!/usr/bin/env python3
"""Parts audited on a Dask cluster of local processes and merged are the whole run, byte for byte.

usage: python3 tests/cluster/test_on_dask.py          (pip install distributed; a release build)
"""
import pathlib
import subprocess
import sys
import tempfile

import on_dask

ROOT = pathlib.Path(__file__).resolve().parents[2]
BINARY = str(ROOT / "target" / "release" / "clampbook")
PLANT = ROOT / "sample-data" / "plant"


def files(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def main():
    with tempfile.TemporaryDirectory() as work:
        work = pathlib.Path(work)
        whole = subprocess.run([BINARY, "check", PLANT, "--data", work / "whole", "--quiet"], check=False).returncode
        joined = on_dask.main([str(PLANT), "--data", str(work / "joined"), "--parts", "5", "--binary", BINARY])
        assert joined == whole, f"exit status {joined} of the parts, {whole} of the whole"
        expected, found = files(work / "whole"), files(work / "joined")
        assert found.keys() == expected.keys(), found.keys() ^ expected.keys()
        differing = [name for name in expected if found[name] != expected[name]]
        assert not differing, f"not the same: {differing}"
        # A part that can't be audited is told, and nothing is merged.
        status = on_dask.main([str(work / "no plant"), "--data", str(work / "none"), "--parts", "2", "--binary", BINARY])
        assert status == 2 and not (work / "none").exists(), status
        print(f"{len(found)} files of 5 parts are those of the whole run.")


if __name__ == "__main__":
    sys.exit(main())
