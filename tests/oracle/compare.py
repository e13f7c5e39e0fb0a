#!/usr/bin/env python3
"""Compares two result folders. usage: compare.py A B [--limits] [--all]   exit 1 on any difference
--limits also compares measured and limit; --all pairs the subfolders of A and B by name."""
import collections
import csv
import pathlib
import re
import sys

KEY = "rule severity plant pallet fixture circuit side position part_no".split()
PLACE = KEY[2:6]
CLOSED, SOLVED_REL = 1e-9, 1e-4
SOLVED = re.compile(r"settled|cold|hot|hold|topup|unclamp_time|friction|accumulator|demand|fill|reserve|clamp_time")


def rows(folder, name):
    path = pathlib.Path(folder) / name
    if not path.is_file():
        return []
    with open(path, encoding="utf-8-sig", newline="") as f:
        return list(csv.DictReader(f))


def number(x):
    try:
        return float(x)
    except (TypeError, ValueError):
        return None


def same(a, b, col=""):
    a, b = a or "", b or ""
    if a == b:
        return True
    if col in ("not_assessed", "not_asked"):
        return set(a.split()) == set(b.split())
    x, y = number(a), number(b)
    if x is None or y is None:
        return False
    rel = SOLVED_REL if col in ("measured", "limit") or SOLVED.search(col) else CLOSED
    return abs(x - y) <= rel * max(abs(x), abs(y)) or max(abs(x), abs(y)) < 1e-9


def short(key):
    return "/".join(str(k) for k in key)


def keyed(folder, name, key):
    out = collections.defaultdict(list)
    for r in rows(folder, name):
        out[tuple(r.get(k) or "" for k in key)].append(r)
    return out


def compare(a, b, limits=False):
    """[(sort, text)] of the differences."""
    diffs = []
    fa, fb = keyed(a, "findings.csv", KEY), keyed(b, "findings.csv", KEY)
    for k in sorted(set(fa) | set(fb)):
        n, m = len(fa[k]), len(fb[k])
        if n != m:
            diffs.append((f"finding {k[0]}", f"{short(k)}: {n} in A, {m} in B"))
        elif {r.get("state") == "waived" for r in fa[k]} != {r.get("state") == "waived" for r in fb[k]}:
            diffs.append((f"state {k[0]}", short(k)))
        elif limits and n == 1:
            for col in ("measured", "limit"):
                x, y = fa[k][0].get(col), fb[k][0].get(col)
                if x and y and not same(x, y):
                    diffs.append((f"{col} {k[0]}", f"{short(k)}: {x} / {y} {fa[k][0].get('unit')} / {fb[k][0].get('unit')}"))
    for name, key, skip in (("circuits.csv", PLACE, ()), ("purchase.csv", ["part_no"], ())):
        ta, tb = keyed(a, name, key), keyed(b, name, key)
        for k in sorted(set(ta) | set(tb)):
            if len(ta[k]) != len(tb[k]):
                diffs.append((f"{name} row", f"{short(k)}: {len(ta[k])} in A, {len(tb[k])} in B"))
                continue
            for r, s in zip(ta[k], tb[k]):
                for col in (c for c in r if c in s and c not in key):
                    if not same(r[col], s[col], col):
                        label = f"{name} {col}"
                        if col == "not_assessed":
                            x, y = set((r[col] or "").split()), set((s[col] or "").split())
                            for code in sorted(x ^ y):
                                diffs.append((f"{label} {code}", f"{short(k)}: {code} only in {'A' if code in x else 'B'}"))
                        else:
                            diffs.append((label, f"{short(k)}: {r[col]!r} / {s[col]!r}"))
    return diffs


def main(args):
    limits = "--limits" in args
    a, b = [x for x in args if not x.startswith("--")][:2]
    if "--all" in args:
        names = sorted({f.name for x in (a, b) for f in pathlib.Path(x).iterdir() if f.is_dir()})
        diffs = [(label, f"{n}: {text}") for n in names for label, text in compare(pathlib.Path(a) / n, pathlib.Path(b) / n, limits)]
    else:
        diffs = compare(a, b, limits)
    groups = collections.defaultdict(list)
    for label, text in diffs:
        groups[label].append(text)
    for label, texts in sorted(groups.items(), key=lambda g: (-len(g[1]), g[0])):
        print(f"{label}  ({len(texts)})")
        for text in texts[:6]:
            print("   ", text)
        if len(texts) > 6:
            print(f"    and {len(texts) - 6} more")
    print(f"{len(diffs)} differences")
    return 1 if diffs else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
