#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Values that another program made are still those that it makes.

usage: remade.py SCRIPT STORED [SCRIPT STORED ...]

Runs each script and compares the numbers it writes with those stored, one by one.  Exits 77 (skipped) where SciPy is
not installed (Debian: python3-scipy).
"""
import re
import subprocess
import sys

NUMBER = re.compile(r"(?<![A-Za-z_\d.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![A-Za-z_])")


def numbers(text):
    return [float(n) for n in NUMBER.findall(text)]


def main():
    try:
        import scipy
    except ImportError:
        print("SciPy is not installed: left out")
        return 77
    print("SciPy", scipy.__version__)
    failed = 0
    for script, stored in zip(sys.argv[1::2], sys.argv[2::2]):
        made = numbers(subprocess.run([sys.executable, script], check=True, capture_output=True, text=True).stdout)
        with open(stored, encoding="utf-8") as file:
            kept = numbers(file.read())
        far = [(m, k) for m, k in zip(made, kept) if abs(m - k) > 1e-4 * max(1.0, abs(k))]
        fine = len(made) == len(kept) and not far
        print(f"{'remade' if fine else 'OTHER'}: {stored}: {len(kept)} numbers, {len(made)} made anew, "
              f"{len(far)} differ {far[:3] if far else ''}")
        failed += not fine
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
