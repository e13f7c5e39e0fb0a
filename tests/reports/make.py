#!/usr/bin/env python3
"""Writes reports/: what the sample plant gives, and three of its pages as pictures.

    cargo build --release && python3 tests/reports/make.py

Workbook, cards and data are those of sample-data/plant. The mail is that of the month after: the plant with
sample-data/edits.csv, compared with the first run, with the year of sample-data/history.csv. The pictures need
LibreOffice and pdftoppm; pages.sha256 holds what they were made from, and tests/reports.rs says when that is stale.
"""

import csv
import hashlib
import pathlib
import shutil
import struct
import subprocess
import sys
import tempfile
import zipfile
import zlib

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target/release/clampbook"
PLANT = ROOT / "sample-data/plant"
REPORTS = ROOT / "reports"
# Picture: file, page, its name.
PAGES = [("report", 1, "summary"), ("report", 3, "findings"), ("cards", 7, "card")]


def run(*arguments, ok=(0, 1)):
    done = subprocess.run([str(argument) for argument in arguments], capture_output=True, text=True)
    if done.returncode not in ok:
        sys.exit(f"{arguments}: {done.stdout}{done.stderr}")


def contents(path):
    """SHA-256 over the parts of a workbook: what it holds, however it is packed."""
    whole = hashlib.sha256()
    with zipfile.ZipFile(path) as package:
        for name in sorted(package.namelist()):
            whole.update(name.encode() + b"\0" + package.read(name))
    return whole.hexdigest()


def edited(plant):
    shutil.copytree(PLANT, plant)
    with open(ROOT / "sample-data/edits.csv", newline="", encoding="utf-8") as edits:
        for edit in csv.DictReader(edits):
            file = plant / edit["file"]
            text = file.read_text(encoding="utf-8")
            assert text.count(edit["find"]) == 1, edit
            file.write_text(text.replace(edit["find"], edit["replace"]), encoding="utf-8")
    policy = plant / "policy.toml"
    policy.write_text(policy.read_text(encoding="utf-8").replace("2026-11-25", "2026-12-25"), encoding="utf-8")


def mail(folder):
    plant, data, history = folder / "plant", folder / "data", folder / "history.csv"
    edited(plant)
    shutil.copy(ROOT / "sample-data/history.csv", history)
    first = folder / "first"
    run(PROGRAM, "check", PLANT, "--data", first, "--history", history, "--quiet")
    run(PROGRAM, "check", plant, "--out", folder / "report.xlsx", "--data", data, "--previous", first,
        "--history", history, "--quiet")
    run(PROGRAM, "mail", folder / "report.xlsx", "--data", data, "--to", "plant-manager@example.com",
        "--from", "Clamping audit <audit@example.com>", "--eml", REPORTS / "mail.eml", "--replace", ok=(0,))


def greys(path):
    """Width, height and bytes of a picture in shades of grey."""
    magic, size, most, pixels = path.read_bytes().split(b"\n", 3)
    assert (magic, most) == (b"P5", b"255"), path
    width, height = map(int, size.split())
    return width, height, pixels


def png(width, height, pixels):
    """A picture of one channel: pdftoppm writes three, even in shades of grey."""
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = b"".join(b"\0" + pixels[at:at + width] for at in range(0, width * height, width))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = (b"IHDR", head), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts)


def pictures(folder):
    for name in ("report", "cards"):
        run("soffice", f"-env:UserInstallation=file://{folder}/office", "--headless", "--convert-to", "pdf",
            "--outdir", folder, REPORTS / f"{name}.xlsx", ok=(0,))
    for source, page, name in PAGES:
        run("pdftoppm", "-r", 80, "-f", page, "-l", page, "-gray", "-singlefile", folder / f"{source}.pdf", folder / name,
            ok=(0,))
        (REPORTS / f"{name}.png").write_bytes(png(*greys(folder / f"{name}.pgm")))
    made_from = "".join(f"{contents(REPORTS / f'{name}.xlsx')}  {name}.xlsx\n" for name in ("report", "cards"))
    (REPORTS / "pages.sha256").write_text(made_from, encoding="utf-8")


def main():
    run(PROGRAM, "check", PLANT, "--out", REPORTS / "report.xlsx", "--cards", REPORTS / "cards.xlsx",
        "--data", REPORTS / "data", "--quiet")
    with tempfile.TemporaryDirectory() as folder:
        mail(pathlib.Path(folder))
        pictures(pathlib.Path(folder))


main()
