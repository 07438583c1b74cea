#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""House rules of DEVELOPERS.md that a machine can check.

usage: check_style.py RULE SOURCE_ROOT [LIBRARY | BUILD_ROOT]
Prints each breach as file:line: text and exits 1 when there is one.
"""
import os
import re
import shutil
import subprocess
import sys

TOP = {"README.md", "DEVELOPERS.md", "meson.build", "daemon", "lib", "cli", "tests", "config",
       "deploy", "LICENSE"}
CODE = (".c", ".h")
MAX_FILE_LINES = 800
MAX_FUNCTION_LINES = 100
# What a pure library may not call.
IMPURE = re.compile(r"^(printf|fprintf|puts|fopen|open|read|write|close|time|clock_gettime|"
                    r"gettimeofday|sleep|nanosleep|usleep|exit|abort|_exit|rand|random|srand|"
                    r"getenv|setenv|pthread_create|socket|connect|fork|system)$")


def tracked(root):
    """Files git knows; outside a checkout every file below the parts of the layout."""
    try:
        out = subprocess.run(["git", "-C", root, "ls-files", "-z", "--cached", "--others",
                              "--exclude-standard"], capture_output=True, check=True)
        names = [n for n in out.stdout.decode().split("\0") if n]
    except (OSError, subprocess.CalledProcessError):
        names = [os.path.relpath(os.path.join(d, f), root)
                 for top in sorted(TOP) for d, _, fs in os.walk(os.path.join(root, top))
                 for f in fs] + [n for n in TOP if os.path.isfile(os.path.join(root, n))]
    return sorted(n for n in names if os.path.isfile(os.path.join(root, n)))


def sources(root, endings=CODE):
    return [n for n in tracked(root) if n.endswith(endings)]


def lines_of(root, name):
    with open(os.path.join(root, name), encoding="utf-8") as handle:
        return handle.read().splitlines()


def rule_layout(root, _):
    for name in tracked(root):
        first = name.split("/")[0]
        if first not in TOP and not first.startswith("."):
            yield f"{name}: not a part of the top-level layout ({', '.join(sorted(TOP))})"
    for name in sources(root, (".c", ".h", ".sh", ".py", ".awk")):
        head = "\n".join(lines_of(root, name)[:3])
        if "SPDX-License-Identifier: GPL-3.0-or-later" not in head:
            yield f"{name}:1: no SPDX line in the first three"


def functions(text_lines):
    """(first line, code lines) of each function: a line that starts with '{' to one with '}'."""
    start = None
    for number, line in enumerate(text_lines, 1):
        if line == "{":
            start = number
        elif line == "}" and start:
            body = [l.strip() for l in text_lines[start:number - 1]]
            code = [l for l in body if l and not l.startswith(("/*", "*", "//"))]
            yield start, len(code)
            start = None


def rule_sizes(root, _):
    for name in sources(root):
        text = lines_of(root, name)
        if len(text) > MAX_FILE_LINES:
            yield f"{name}: {len(text)} lines, at most {MAX_FILE_LINES}"
        for first, length in functions(text):
            if length > MAX_FUNCTION_LINES:
                yield f"{name}:{first}: function of {length} lines, at most {MAX_FUNCTION_LINES}"


def rule_includes(root, _):
    forbidden = {"lib": ("daemon/", "cli/"), "daemon": ("cli/",), "cli": ("daemon/",)}
    for name in sources(root):
        part = name.split("/")[0]
        for number, line in enumerate(lines_of(root, name), 1):
            match = re.match(r'\s*#\s*include\s+"([^"]+)"', line)
            if match and match.group(1).startswith(forbidden.get(part, ("\0",))):
                yield f"{name}:{number}: {part}/ must not include {match.group(1)}"


def rule_format(root, _):
    tool = shutil.which("clang-format-14") or shutil.which("clang-format")
    if not tool:
        yield "clang-format 14 is not installed (Debian package clang-format-14)"
        return
    files = [os.path.join(root, n) for n in sources(root)]
    out = subprocess.run([tool, "--dry-run", "-Werror", "--style=file"] + files,
                         capture_output=True, text=True, check=False, cwd=root)
    for line in out.stderr.splitlines():
        if "error:" in line:
            yield line


def rule_commits(root, _):
    try:
        log = subprocess.run(["git", "-C", root, "log", "--no-merges", "--format=%h%x09%s", "-200"],
                             capture_output=True, text=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        return
    for line in log.splitlines():
        commit, subject = line.split("\t", 1)
        if not re.match(r"^[a-z][a-z0-9/+ ,.-]*: \S", subject):
            yield f"{commit}: not 'component: imperative subject': {subject}"
        if len(subject) > 72:
            yield f"{commit}: subject of {len(subject)} characters, at most 72"


def rule_words(root, _):
    """Physical quantities carry their unit: no bare double named after a quantity in headers."""
    bare = re.compile(r"\b(?:double|float)\s+\*?(temp|temperature|humidity|rh|pressure|area|"
                      r"mass|time|duration|altitude|loss)\s*[;,)\[]")
    for name in sources(root, (".h",)):
        for number, line in enumerate(lines_of(root, name), 1):
            match = bare.search(line)
            if match:
                yield f"{name}:{number}: '{match.group(1)}' has no unit in its name"


def rule_purity(_, library):
    out = subprocess.run(["nm", "-u", library], capture_output=True, text=True, check=True).stdout
    for line in out.splitlines():
        words = line.split()
        if len(words) == 2 and IMPURE.match(words[1].split("@")[0]):
            yield f"{library}: calls {words[1]}: lib/ must stay pure"
    out = subprocess.run(["nm", "-g", "--defined-only", library], capture_output=True, text=True,
                         check=True).stdout
    for line in out.splitlines():
        words = line.split()
        if len(words) == 3 and not words[2].startswith(("wt_", "__asan", "__odr_asan", "__ubsan")):
            yield f"{library}: external symbol '{words[2]}' does not start with wt_"


def rule_headers(root, build):
    """Each header compiles alone."""
    flags = subprocess.run(["pkg-config", "--cflags", "jansson", "gsl", "sqlite3", "libcurl",
                            "libevent_core"], capture_output=True, text=True,
                           check=True).stdout.split()
    compiler = os.environ.get("CC", "cc")
    for name in sources(root, (".h",)):
        if name.split("/")[0] not in ("lib", "daemon", "cli"):
            continue
        alone = "" if name != "lib/leaf_physics.h" else "#define REAL double\n"
        text = f'{alone}#include "{name}"\n'
        out = subprocess.run([compiler, "-std=gnu11", "-D_GNU_SOURCE", "-DWT_VERSION=\"0\"", "-Wall",
                              "-fsyntax-only", "-I", root, "-I", build, *flags, "-x", "c", "-"],
                             input=text, capture_output=True, text=True, check=False)
        if out.returncode:
            yield f"{name}: does not compile alone: {out.stderr.splitlines()[0]}"


def main():
    rule, root = sys.argv[1], sys.argv[2]
    extra = sys.argv[3] if len(sys.argv) > 3 else None
    breaches = list(globals()["rule_" + rule](root, extra))
    for breach in breaches:
        print(breach)
    print(f"{rule}: {len(breaches)} breaches")
    sys.exit(1 if breaches else 0)


main()
