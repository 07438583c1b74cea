#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Each catalogue of cli/po translates every text of the source, with the same formats.

usage: check_catalogues.py SOURCE_ROOT
Uses the gettext tools xgettext, msgcmp and msgfmt.
"""
import os
import re
import subprocess
import sys
import tempfile

# Functions that say something, and which of their arguments is the format.
SAID = ["--keyword=site_refuse:5", "--keyword=site_note:2", "--keyword=concern:4", "--keyword=add:4",
        "--keyword=wt_rpc_refuse:3", "--keyword=wt_says_make:2", "--keyword=undecided:2",
        "--keyword=WT_SAYS_WORD"]


def all_sayers_known(sources):
    """Whoever takes a sentence apart is among SAID, so that its formats are looked for."""
    known = {word.split("=")[1].split(":")[0] for word in SAID}
    fine = True
    for source in sources:
        function = None
        with open(source, encoding="utf-8") as handle:
            for line in handle:
                found = re.match(r"[a-z].*?\b(\w+)\(", line)
                function = found.group(1) if found else function
                if "wt_says_take(" in line and function not in known:
                    print(f"{source}: {function} says things that no catalogue is asked for")
                    fine = False
    return fine


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
        common = ["xgettext", "--language=C", "--from-code=UTF-8", "--keyword", "-o", template]
        fine &= run(*common, "--keyword=_", "--keyword=N_", "--keyword=_n:1,2",
                    *sources)
        # What the daemon says goes out as its format and values: the formats are in the catalogue.
        # What it only logs is not.
        said = [os.path.join(folder_of, name)
                for folder_of in (os.path.join(sys.argv[1], "daemon"),
                                  os.path.join(sys.argv[1], "lib", "wire"))
                for name in sorted(os.listdir(folder_of))
                if name.endswith(".c") and name not in ("replay.c", "says.c")]
        fine &= all_sayers_known(said)
        fine &= run(*common, "--join-existing", *SAID, *said)
        fine &= run(*common, "--join-existing", "--keyword=X:2",
                    os.path.join(sys.argv[1], "lib", "wire", "payload.h"))
        with open(os.path.join(cli, "po", "LINGUAS"), encoding="utf-8") as handle:
            for language in handle.read().split():
                catalogue = os.path.join(cli, "po", language + ".po")
                fine &= run("msgcmp", catalogue, template)
                fine &= run("msgfmt", "--check", "-o", os.devnull, catalogue)
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
