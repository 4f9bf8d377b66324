#!/usr/bin/env python3
"""Seeds each bug of `bugs.toml` and `by_kind.toml` into a scratch copy, builds it and asks `trimproof prove` what broke.

Needs python 3.11 and cargo; nothing else. The repository itself is never changed, except by `--write`.

    python3 tests/seeded/run.py                      all bugs, a table on the terminal
    python3 tests/seeded/run.py --only 'hat-*'       some of them
    python3 tests/seeded/run.py --list by_kind       one list only
    python3 tests/seeded/run.py --write              also remakes the table in docs/model/seeded-bugs.md

Exit code 0 when every bug without a `note` breaks an expectation or a law, 1 when one survives, 2 when a bug cannot be seeded.
"""

import argparse
import concurrent.futures
import datetime
import fnmatch
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import tomllib

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
PAGE = ROOT / "docs/model/seeded-bugs.md"
BEGIN, END = "<!-- table -->", "<!-- end of table -->"
LONG = "scenarios/long"
# A suite takes seconds; a bug that makes it hang is a bug found.
PATIENCE_S = 600
LISTS = ("bugs", "by_kind")
KEYS = {"name", "file", "find", "put", "what", "note", "kind"}


def bugs():
    """The bugs of the lists, checked: every text to find stands exactly once in its file."""
    listed = [
        {**bug, "list": name} for name in LISTS for bug in tomllib.loads((HERE / f"{name}.toml").read_text())["bug"]
    ]
    wrong = []
    for bug in listed:
        if set(bug) - KEYS - {"list"} or KEYS - {"note", "kind"} - set(bug):
            wrong.append(f"`{bug.get('name')}`: keys must be {sorted(KEYS)}, `note` and `kind` may be left out")
            continue
        count = (ROOT / bug["file"]).read_text().count(bug["find"])
        if count != 1:
            wrong.append(f"`{bug['name']}`: its text stands {count} times in `{bug['file']}`, it must stand once")
    names = [bug["name"] for bug in listed]
    wrong += [f"`{name}` is listed twice" for name in sorted({n for n in names if names.count(n) > 1})]
    if wrong:
        print("\n".join(wrong), file=sys.stderr)
        raise SystemExit(2)
    return listed


def refresh(scratch):
    """Copies the working tree, with times kept so that only what changed is built again."""
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", "-z"], cwd=ROOT, check=True, capture_output=True
    ).stdout.decode().split("\0")
    wanted = {name for name in listed if name and (ROOT / name).is_file()}
    for name in wanted:
        source, copy = ROOT / name, scratch / name
        if not copy.exists() or copy.read_bytes() != source.read_bytes():
            copy.parent.mkdir(parents=True, exist_ok=True)
            # Not the source's own time: the copy may be older than what was built of it.
            shutil.copyfile(source, copy)
    for old in (scratch / "scenarios").rglob("*.toml"):
        if str(old.relative_to(scratch)) not in wanted:
            old.unlink()


class Bench:
    """A scratch copy and where it is built."""

    def __init__(self, scratch, target, more=()):
        self.more = list(more)
        self.scratch = scratch
        self.env = dict(os.environ, CARGO_TARGET_DIR=str(target), CARGO_TERM_COLOR="never", CARGO_PROFILE_DEV_DEBUG="0")
        self.program = target / "debug/trimproof"

    def build(self):
        """Builds; returns the compiler's complaint, empty when there is none."""
        made = subprocess.run(
            ["cargo", "build", "--locked", "--quiet", "--bin", "trimproof"],
            cwd=self.scratch, env=self.env, capture_output=True, text=True,
        )
        return made.stderr if made.returncode else ""

    def seed(self, bug, program):
        """Builds with one bug, keeps the result as `program`; returns the compiler's complaint."""
        path = self.scratch / bug["file"]
        sound = path.read_text()
        path.write_text(sound.replace(bug["find"], bug["put"]))
        try:
            complaint = self.build()
        finally:
            path.write_text(sound)
        if not complaint:
            shutil.copy2(self.program, program)
        return complaint

    def prove(self, program, *folders):
        """Verdicts on the scenarios of the folders, or why there are none."""
        try:
            run = subprocess.run(
                [program, "prove", *folders, "--format", "json"],
                cwd=self.scratch, capture_output=True, text=True, timeout=PATIENCE_S,
            )
        except subprocess.TimeoutExpired:
            return None, f"no end within {PATIENCE_S} s"
        try:
            return json.loads(run.stdout)["runs"], ""
        except (ValueError, KeyError):
            return None, f"exit code {run.returncode}: {run.stderr.strip().splitlines()[-1:]}"

    def judge(self, program):
        """What the suite makes of one bug; what it does not break goes through the runs of minutes as well."""
        found = self.judge_on(program, "scenarios", *self.more)
        if found["caught"] in ("card", "nothing"):
            slow = self.judge_on(program, LONG)
            found = slow if slow["caught"] in ("expectation", "crash") else found
        program.unlink()
        return found

    def judge_on(self, program, *folders):
        """What these scenarios make of one bug."""
        runs, reason = self.prove(program, *folders)
        if runs is None:
            return {"caught": "crash", "by": [reason]}
        cut = [
            f"{run['scenario']} on {run['rig']}: {run.get('reason')}" for run in runs if run["verdict"] in ("aborted",)
        ]
        if cut:
            return {"caught": "crash", "by": cut}
        by = [
            f"{run['scenario']}: {expectation['name']}"
            for run in runs for expectation in run["expectations"] if expectation["verdict"] == "fail"
        ]
        by += [
            f"{run['scenario']}: law: {law['name']}"
            for run in runs for law in run.get("laws", []) if law["verdict"] == "fail"
        ]
        if by:
            return {"caught": "expectation", "by": list(dict.fromkeys(by))}
        changed = [
            f"{run['scenario']} on {run['rig']}"
            for run in runs if run["hash"] != self.sound.get((run["scenario"], run["rig"]), run["hash"])
        ]
        return {"caught": "card", "by": changed} if changed else {"caught": "nothing", "by": []}

    def baseline(self):
        """Traces of the sound program; every expectation must hold on it."""
        complaint = self.build()
        runs, reason = (None, complaint) if complaint else self.prove(self.program, "scenarios", LONG, *self.more)
        if runs is None or any(run["verdict"] != "pass" for run in runs):
            broken = [f"{r['scenario']} on {r['rig']}" for r in runs or [] if r["verdict"] != "pass"]
            raise SystemExit(f"the sound program does not pass: {reason or broken}")
        self.sound = {(run["scenario"], run["rig"]): run["hash"] for run in runs}


def short(text, most=110):
    """One line of a table."""
    return text if len(text) <= most else text[: most - 1] + "…"


def kinds(listed, results):
    """Shares of the second list by kind."""
    of_kind = {}
    for bug in listed:
        if bug["list"] == "by_kind":
            of_kind.setdefault(bug["kind"], []).append(bug)
    lines = ["| kind | bugs | broke an expectation or a law | not |", "|---|---|---|---|"]
    for kind, part in of_kind.items():
        missed = [bug["name"] for bug in part if results[bug["name"]]["caught"] not in ("expectation", "crash")]
        lines.append(f"| {kind} | {len(part)} | {len(part) - len(missed)} | {', '.join(f'`{name}`' for name in missed)} |")
    return lines


def table(listed, results):
    """The table for the page, with its counts."""
    def row(bug):
        result = results[bug["name"]]
        count = {"expectation": len(result["by"])}.get(result["caught"], 0)
        first = short(result["by"][0]).replace("|", "/") if result["by"] else ""
        more = f" (and {count - 1} more)" if count > 1 else ""
        caught = {"expectation": "", "crash": "run cut: ", "card": "**card only**: ", "nothing": "**nothing**"}[result["caught"]]
        note = f"{': ' if not first else '. '}{bug['note']}" if "note" in bug else ""
        file = bug["file"].removeprefix("src/")
        return f"| `{bug['name']}` | {bug['what']} | `{file}` | {caught}{first}{more}{note} |"

    def counts(part):
        of = [results[bug["name"]]["caught"] for bug in part]
        return [len(of), of.count("expectation"), of.count("crash"), of.count("card"), of.count("nothing")]

    parts = [("controller", "src/controller/"), ("plant", "src/plant/"), ("harness", "src/harness/")]
    lines = [f"Tried on {datetime.date.today().isoformat()}.", "",
             "| part | bugs | broke an expectation or a law | cut a run | changed a card only | changed nothing |", "|---|---|---|---|---|---|"]
    for name, folder in parts:
        lines.append("| " + " | ".join(map(str, [name, *counts([b for b in listed if b["file"].startswith(folder)])])) + " |")
    lines.append("| " + " | ".join(map(str, ["all", *counts(listed)])) + " |")
    lines += ["", *kinds(listed, results)]
    for name, folder in parts:
        part = [bug for bug in listed if bug["file"].startswith(folder)]
        if part:
            lines += ["", f"## {name.capitalize()}", "", "| bug | what went wrong | where | caught by |", "|---|---|---|---|"]
            lines += [row(bug) for bug in part]
    return "\n".join(lines)


def write_page(text):
    """Replaces the table of the page."""
    page = PAGE.read_text()
    head, rest = page.split(BEGIN, 1)
    tail = rest.split(END, 1)[1]
    PAGE.write_text(f"{head}{BEGIN}\n\n{text}\n\n{END}{tail}")


def report(bug, result, results, path):
    """Prints and keeps one result."""
    results[bug["name"]] = result
    first = short(result["by"][0], 90) if result["by"] else ""
    print(f"{result['caught']:12} {len(result['by']):4}  {bug['name']:34} {first}", flush=True)
    if path:
        path.write_text(json.dumps(results, indent=1))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="*", help="names of bugs, with * and ?")
    parser.add_argument("--list", choices=LISTS, help="bugs of one list only")
    parser.add_argument("--scratch", type=pathlib.Path, help="where the copy stands; kept, so that a second run builds less")
    parser.add_argument("--target", type=pathlib.Path, help="cargo's target folder; `target` in the scratch folder if left out")
    parser.add_argument("--results", type=pathlib.Path, help="JSON file that results are added to")
    parser.add_argument("--survivors", action="store_true", help="with --results: only bugs that broke no expectation so far")
    parser.add_argument("--more", action="append", default=[], help="a further folder of scenarios, such as random pilots with their rigs and laws")
    parser.add_argument("--write", action="store_true", help="remake the table in docs/model/seeded-bugs.md")
    choice = parser.parse_args()
    listed = bugs()
    results = json.loads(choice.results.read_text()) if choice.results and choice.results.exists() else {}
    todo = [
        bug for bug in listed
        if fnmatch.fnmatch(bug["name"], choice.only) and choice.list in (None, bug["list"])
    ]
    if choice.survivors:
        todo = [bug for bug in todo if results.get(bug["name"], {}).get("caught") not in ("expectation", "crash")]
    with tempfile.TemporaryDirectory() as folder:
        scratch = (choice.scratch or pathlib.Path(folder) / "copy").resolve()
        bench = Bench(scratch, (choice.target or scratch / "target").resolve(), choice.more)
        refresh(scratch)
        if todo:
            bench.baseline()
        # One bug is built while the one before it runs.
        with concurrent.futures.ThreadPoolExecutor(1) as runner:
            running = []
            for number, bug in enumerate([*todo, None]):
                program = scratch / f"target-{number % 2}"
                complaint = bench.seed(bug, program) if bug else ""
                if running:
                    before, outcome = running.pop()
                    report(before, outcome.result() if outcome else {"caught": "build", "by": [refusal]}, results, choice.results)
                if bug:
                    refusal = (complaint.strip().splitlines() or [""])[0]
                    running.append((bug, None if complaint else runner.submit(bench.judge, program)))
    if choice.write:
        missing = [bug["name"] for bug in listed if results.get(bug["name"], {"caught": "build"})["caught"] == "build"]
        if missing:
            raise SystemExit(f"no result for {missing}: the table needs all bugs")
        write_page(table(listed, results))
    found = [results[bug["name"]]["caught"] for bug in todo]
    survived = [bug["name"] for bug, caught in zip(todo, found) if caught in ("card", "nothing") and "note" not in bug]
    print(f"{len(todo)} bugs: " + ", ".join(f"{found.count(k)} {k}" for k in ("expectation", "crash", "card", "nothing", "build")))
    if survived:
        print("survived: " + ", ".join(survived))
    sys.exit(2 if "build" in found else 1 if survived else 0)


if __name__ == "__main__":
    main()
