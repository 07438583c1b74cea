#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Manual pages against the programs: every key, verb and option is there, and none besides.

usage: check_man.py SOURCE_ROOT WITHERD WITHER
"""
import os
import re
import shutil
import subprocess
import sys
import tempfile

faults = []


def fault(text):
    faults.append(text)
    print(text)


def run(*words, stdin=None):
    return subprocess.run(words, capture_output=True, text=True, input=stdin, check=False)


def page(root, name):
    with open(os.path.join(root, "deploy/man", name + ".scd"), encoding="utf-8") as handle:
        return handle.read()


def check_keys(root):
    """Keys by section: of the daemon's own table, and of the page's bold words at a line's start."""
    with open(os.path.join(root, "daemon/config_keys.c"), encoding="utf-8") as handle:
        source = handle.read()
    table = set()
    for section, key in re.findall(r'\{WT_SECTION_(\w+), "(\w+)"', source):
        table.add((section.lower(), key))
    told, section = set(), None
    for line in page(root, "witherd.conf.5").split("# EXAMPLE")[0].splitlines():
        head = re.match(r"# \[(\w+)", line)
        if head:
            section = head.group(1)
        elif line.startswith("# "):
            section = None
        elif section and line.startswith("*"):
            told.update((section, key) for key in re.findall(r"\*(\w+)\*", line))
    for section, key in sorted(table - told):
        fault(f"witherd.conf.5: [{section}] {key} is not told")
    for section, key in sorted(told - table):
        fault(f"witherd.conf.5: [{section}] {key} is no key")
    return len(table)


def options_of(text):
    return set(re.findall(r"--[a-z][a-z-]*", text))


def check_verbs(root, wither):
    """Each verb's entry carries the options that its help tells, and no other."""
    verbs = re.findall(r"^([a-z-]+)  +\S", run(wither, "help").stdout, re.M)
    entries = dict(re.findall(r"^\*([a-z-]+)\*(.*)$", page(root, "wither.1"), re.M))
    for verb in verbs:
        if verb not in entries:
            fault(f"wither.1: {verb} is not told")
            continue
        if verb == "help":
            continue
        usage = run(wither, "help", verb).stdout
        usage = re.split(r"\n(?=\S)", usage)[0]
        # Options broken over two lines by the screen's width are joined again.
        usage = re.sub(r"\s+", " ", usage)
        if options_of(usage) != options_of(entries[verb]):
            fault(f"wither.1: {verb}: {sorted(options_of(usage) ^ options_of(entries[verb]))}")
    return len(verbs)


def check_daemon_options(root, witherd):
    told, known = options_of(page(root, "witherd.8")), options_of(run(witherd, "--help").stdout)
    for option in sorted(told ^ known):
        fault(f"witherd.8: {option} is told by one of page and --help only")


def check_examples(root, witherd):
    with tempfile.TemporaryDirectory(prefix="wither-man-") as folder:
        conf, journal = os.path.join(folder, "conf"), os.path.join(folder, "journal")
        example = page(root, "witherd.conf.5").split("```")[1]
        with open(conf, "w", encoding="utf-8") as handle:
            handle.write(example + f"[daemon]\ndatabase = {folder}/db\nmembers = 64\n[tray]\n")
        out = run(witherd, "--config", conf, "--check")
        if out.returncode:
            fault(f"witherd.conf.5: the example is refused: {out.stderr}")
        lines = page(root, "wither-journal.5").split("```")[1].strip()
        with open(journal, "w", encoding="utf-8") as handle:
            handle.write(lines.replace('"load":7', '"load":1') + "\n")
        out = run(witherd, "--config", conf, "--replay", journal)
        if out.returncode or "1 messages, 2 acts (0 refused)" not in out.stderr:
            fault(f"wither-journal.5: the examples do not play: {out.stderr}")


def check_form(root):
    if not shutil.which("scdoc"):
        fault("scdoc is not installed")
        return
    for name in ("wither.1", "witherd.8", "witherd.conf.5", "wither-journal.5"):
        out = run("scdoc", stdin=page(root, name))
        if out.returncode or out.stderr:
            fault(f"{name}: {out.stderr}")
        if not out.stdout.lstrip().startswith((".", "'")):
            fault(f"{name}: scdoc gives no page")


def main():
    root, witherd, wither = sys.argv[1:4]
    keys, verbs = check_keys(root), check_verbs(root, wither)
    check_daemon_options(root, witherd)
    check_examples(root, witherd)
    check_form(root)
    if keys < 50 or verbs < 25:
        fault(f"only {keys} keys and {verbs} verbs were found")
    print(f"{keys} keys, {verbs} verbs, {len(faults)} faults")
    sys.exit(1 if faults else 0)


main()
