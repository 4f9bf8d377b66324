#!/usr/bin/env python3
"""Seeds each bug of bugs.toml into godwit and asks `trimproof prove` whether it is caught.

    tests/firmware_bugs/run.py PROGRAM              each by the one run that bugs.toml names
    tests/firmware_bugs/run.py PROGRAM --all        each by all of scenarios/any
    tests/firmware_bugs/run.py PROGRAM NAME ...     only these bugs

PROGRAM is the built `trimproof`. Exit code 1 if a bug survives or does not apply, or if godwit
itself fails one of the runs. It works on copies: the sources stay as they are.
"""
import pathlib
import shutil
import subprocess
import sys
import tempfile
import tomllib

ROOT = pathlib.Path(__file__).resolve().parents[2]
GODWIT = ROOT / "scenarios/firmware/godwit"


def seed(bug, folder):
    """A copy of godwit with the bug; None if `find` does not occur exactly once."""
    text = (GODWIT / bug["file"]).read_text()
    if text.count(bug["find"]) != 1:
        return None
    copy = folder / "firmware" / "godwit"
    shutil.copytree(GODWIT, copy)
    (copy / bug["file"]).write_text(text.replace(bug["find"], bug["replace"]))
    return copy


def prove(program, source, scenarios, rig):
    """The exit code of `prove`: 0 all pass, 1 something fails, others are troubles."""
    command = [program, "prove", *scenarios, "--on", f"source:{source}"]
    if rig:
        command += ["--rig", rig]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True).returncode


def main():
    if len(sys.argv) < 2:
        print(__doc__, file=sys.stderr)
        return 2
    program = str(pathlib.Path(sys.argv[1]).resolve())
    names = [word for word in sys.argv[2:] if not word.startswith("--")]
    bugs = tomllib.loads((pathlib.Path(__file__).parent / "bugs.toml").read_text())["bug"]
    bugs = [bug for bug in bugs if not names or bug["name"] in names]
    wrong = []
    sound = set()
    for bug in bugs:
        if "--all" in sys.argv:
            scenarios, rig = ["scenarios/any"], None
        else:
            scenarios, rig = [f"scenarios/any/{bug['scenario']}.toml"], bug["rig"]
        run = (*scenarios, rig)
        if run not in sound:
            if prove(program, GODWIT, scenarios, rig) != 0:
                wrong.append(f"godwit itself fails {' '.join(filter(None, run))}")
            sound.add(run)
        with tempfile.TemporaryDirectory() as folder:
            copy = seed(bug, pathlib.Path(folder))
            if copy is None:
                verdict = "does not apply"
            else:
                code = prove(program, copy, scenarios, rig)
                verdict = {0: "survives", 1: "caught"}.get(code, f"ends in exit code {code}")
        print(f"{bug['name']:40} {verdict}", flush=True)
        if verdict != "caught":
            wrong.append(f"{bug['name']} {verdict}")
    print(f"{len(bugs)} bugs, {len(wrong)} wrong")
    for line in wrong:
        print(f"  {line}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
