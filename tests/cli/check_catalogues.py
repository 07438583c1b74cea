#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Each catalogue of cli/po translates every text of the source, with the same formats.

usage: check_catalogues.py SOURCE_ROOT
Uses the gettext tools xgettext, msgcmp and msgfmt.
"""
import os
import subprocess
import sys
import tempfile


def run(*arguments):
    done = subprocess.run(arguments, capture_output=True, text=True)
    if done.returncode != 0:
        print(" ".join(arguments), done.stdout, done.stderr, sep="\n")
    return done.returncode == 0


def main():
    cli = os.path.join(sys.argv[1], "cli")
    sources = sorted(os.path.join(cli, n) for n in os.listdir(cli) if n.endswith(".c"))
    with open(os.path.join(cli, "po", "POTFILES"), encoding="utf-8") as handle:
        listed = sorted(os.path.join(sys.argv[1], line.strip()) for line in handle if line.strip())
    fine = listed == sources
    if not fine:
        print("cli/po/POTFILES differs from cli/*.c:", set(listed) ^ set(sources))
    with tempfile.TemporaryDirectory() as folder:
        template = os.path.join(folder, "wither.pot")
        fine &= run("xgettext", "--language=C", "--keyword=_", "--keyword=N_", "--keyword=_n:1,2",
                    "--from-code=UTF-8", "-o", template, *sources)
        with open(os.path.join(cli, "po", "LINGUAS"), encoding="utf-8") as handle:
            for language in handle.read().split():
                catalogue = os.path.join(cli, "po", language + ".po")
                fine &= run("msgcmp", catalogue, template)
                fine &= run("msgfmt", "--check", "-o", os.devnull, catalogue)
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
