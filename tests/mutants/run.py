#!/usr/bin/env python3
"""Mutants of controller, board, plant, formula and judge: which of them does no test see?

Needs python 3.11 and cargo; the repository itself is never changed. `mutate` (mutate.rs) writes a scratch copy that holds all
mutants at once; each is then chosen by an environment variable, so that there is one build and not one for each mutant.

    python3 tests/mutants/run.py                          everything (hours of processor time); a line for each survivor
    python3 tests/mutants/run.py --only 'src/controller/*' some files
    python3 tests/mutants/run.py --sample 0.1 --seed 1      a random share
    python3 tests/mutants/run.py --list                    the mutants, one a line

A mutant is killed when a test fails, does not end in time, or when the trace or verdict of a shipped scenario is another one
(the reviewed cards in snapshots/ hold the hash of each). Results are kept in SCRATCH/results.jsonl and gone on with.
Exit code 0 when at least 97 % of those that ran are killed, else 1.
"""

import argparse
import collections
import concurrent.futures
import fnmatch
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import threading
import time

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
BAR = 0.97
FOLDERS = {
    "trimproof-controller": ["src/controller"],
    "trimproof-board": ["src/board"],
    "trimproof-plant": ["src/plant"],
    "trimproof-harness": ["src/harness/formula", "src/harness/judge", "src/harness/laws"],
}
SWITCH = '''//! Which mutant is on: written by tests/mutants, never part of the project.
use std::sync::atomic::{AtomicU32, Ordering::Relaxed};
static CHOSEN: AtomicU32 = AtomicU32::new(u32::MAX);
/// Whether this mutant is the chosen one.
#[inline(always)]
pub fn on(id: u32) -> bool {
    let chosen = CHOSEN.load(Relaxed);
    if chosen == u32::MAX { read() == id } else { chosen == id }
}
#[cold]
#[inline(never)]
fn read() -> u32 {
    let chosen = std::env::var("TRIMPROOF_MUTANT").ok().and_then(|id| id.parse().ok()).unwrap_or(0);
    CHOSEN.store(chosen, Relaxed);
    chosen
}
'''
# A few scenarios that meet most of the code: they kill the most at the least cost.
QUICK = [
    "every-event-while-nudging", "release-near-stop", "stop-slammed", "power-up-slow-rise", "sensor-loose-wire",
    "link-gap-in-every-state", "obstacle-knee", "lead-broken", "spring-broken", "gear-slip", "trip-acknowledged",
]


def test_modules(folder):
    """Files that only tests are made of: those declared behind `#[cfg(test)]`."""
    found = set()
    for path in folder.rglob("*.rs"):
        for name in re.findall(r"#\[cfg\(test\)\]\s*(?:pub(?:\(crate\))? )?mod (\w+);", path.read_text()):
            base = path.parent if path.name in ("mod.rs", "lib.rs") else path.with_suffix("")
            found |= {base / f"{name}.rs", base / name / "mod.rs"}
            found |= set((base / name).rglob("*.rs"))
    return found


def sources(pattern):
    """Files to mutate, relative to the root."""
    files = []
    for folders in FOLDERS.values():
        for folder in folders:
            tests = test_modules(ROOT / folder)
            for path in sorted((ROOT / folder).rglob("*.rs")):
                name = str(path.relative_to(ROOT))
                is_test = path in tests or "/tests" in name or path.name.startswith("test_")
                if not is_test and fnmatch.fnmatch(name, pattern):
                    files.append(name)
    return files


class Copy:
    """The scratch copy with all mutants in it."""

    def __init__(self, scratch):
        self.root = scratch / "copy"
        self.target = scratch / "target"
        self.refused = scratch / "refused.txt"
        self.env = dict(
            os.environ, CARGO_TARGET_DIR=str(self.target), CARGO_TERM_COLOR="never", CARGO_PROFILE_DEV_DEBUG="0",
            CARGO_PROFILE_DEV_OPT_LEVEL="2",
            CARGO_INCREMENTAL="0", INSTA_UPDATE="no",
        )
        self.tool = scratch / "tool/release/mutate"

    def prepare(self):
        mutated = set(sources("*"))
        subprocess.run(
            ["cargo", "build", "--release", "--quiet", "--manifest-path", str(HERE / "Cargo.toml"),
             "--target-dir", str(self.tool.parent.parent)], check=True)
        listed = subprocess.run(["git", "ls-files", "-co", "--exclude-standard", "-z"], cwd=ROOT, check=True,
                                capture_output=True).stdout.decode().split("\0")
        for name in listed:
            if name and (ROOT / name).is_file() and not name.startswith("tests/mutants/"):
                copy = self.root / name
                # Of mutated files and of manifests with a line more, the copy is written elsewhere.
                is_plain = name not in mutated and not name.endswith("Cargo.toml")
                if not copy.exists() or (is_plain and copy.read_bytes() != (ROOT / name).read_bytes()):
                    copy.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(ROOT / name, copy)
        switch = self.root / "src/switch"
        switch.mkdir(parents=True, exist_ok=True)
        self.write(
            switch / "Cargo.toml",
            '[package]\nname = "trimproof-switch"\nversion = "0.0.0"\nedition = "2024"\n[lib]\npath = "lib.rs"\n')
        self.write(switch / "lib.rs", SWITCH)
        for name in listed:
            if name.endswith("Cargo.toml") and not name.startswith(("tests/mutants/", "tests/fuzz/", "src/firmware/")):
                text = (ROOT / name).read_text()
                if name.split("/")[1:2] and name.split("/")[1] in ("controller", "board", "plant", "harness"):
                    text = text.replace(
                        "[dependencies]\n", '[dependencies]\ntrimproof-switch = { path = "../switch" }\n', 1)
                self.write(self.root / name, text)

    @staticmethod
    def write(path, text):
        """Writes a file, unless it has that text: what is as it was is not built again."""
        if not path.exists() or path.read_text() != text:
            path.write_text(text)

    def mutate(self, files):
        """Writes the mutants into the copy; returns them."""
        lines = subprocess.run([self.tool, ROOT, self.root, self.refused, *files], check=True, capture_output=True,
                               text=True).stdout.splitlines()
        return [json.loads(line) for line in lines]

    def build(self, files):
        """Builds until the compiler refuses no mutant any more; returns those left and the test programs."""
        while True:
            mutants = self.mutate(files)
            by_file = collections.defaultdict(list)
            for mutant in mutants:
                by_file[mutant["file"]].append(mutant)
            made = subprocess.run(
                ["cargo", "test", "--no-run", "--offline", "--message-format=json", "--lib", "--bins", "--tests"],
                cwd=self.root, env=self.env, capture_output=True, text=True)
            refused, programs = set(), {}
            for line in made.stdout.splitlines():
                said = json.loads(line)
                if said["reason"] == "compiler-artifact" and said.get("executable"):
                    programs[(said["package_id"].split("#")[0].rsplit("/", 1)[-1], said["target"]["name"],
                              said["profile"]["test"])] = said["executable"]
                if said["reason"] != "compiler-message" or said["message"]["level"] != "error":
                    continue
                for span in said["message"]["spans"]:
                    for mutant in by_file.get(span["file_name"], []):
                        if mutant["begin"] <= span["byte_start"] and span["byte_end"] <= mutant["end"]:
                            refused.add(mutant["id"])
                if not any(s["file_name"] in by_file for s in said["message"]["spans"]):
                    print(said["message"]["rendered"], file=sys.stderr)
            if made.returncode == 0:
                return mutants, programs
            if not refused:
                print(made.stderr[-3000:], file=sys.stderr)
                for line in made.stdout.splitlines():
                    said = json.loads(line)
                    if said["reason"] == "compiler-message" and said["message"]["level"] == "error":
                        print(said["message"]["rendered"], file=sys.stderr)
                raise SystemExit("the copy does not build, and no mutant is to blame")
            with open(self.refused, "a") as noted:
                noted.write("".join(f"{id}\n" for id in sorted(refused)))
            print(f"the compiler refuses {len(refused)} mutants", file=sys.stderr)


class Stage:
    """A command whose end and output tell a mutant from the original."""

    def __init__(self, name, command, root, folder=".", compares=False):
        self.name, self.command, self.root, self.compares = name, command, root, compares
        self.cwd = root / folder
        self.took_s = None
        self.lock = threading.Lock()

    def learn(self):
        """Runs it without a mutant, once, when it is first needed."""
        with self.lock:
            if self.took_s is not None:
                return
            begun = time.monotonic()
            self.code, self.output = self.run(0, 900)
            if self.code != 0:
                raise SystemExit(f"`{self.name}` fails without a mutant")
            self.took_s = time.monotonic() - begun
            print(f"{self.took_s:7.1f} s  {self.name}", file=sys.stderr, flush=True)

    def run(self, mutant, patience_s):
        env = dict(os.environ, TRIMPROOF_MUTANT=str(mutant), INSTA_UPDATE="no", CI="true", RUST_BACKTRACE="0",
                   INSTA_WORKSPACE_ROOT=str(self.root))
        try:
            ran = subprocess.run(self.command, cwd=self.cwd, env=env, timeout=patience_s, stdin=subprocess.DEVNULL,
                                 stdout=subprocess.PIPE if self.compares else subprocess.DEVNULL,
                                 stderr=subprocess.DEVNULL)
        except subprocess.TimeoutExpired:
            return "no end", b""
        return ran.returncode, ran.stdout or b""

    def kills(self, mutant):
        self.learn()
        code, output = self.run(mutant, 10 + 5 * self.took_s)
        return code != self.code or (self.compares and output != self.output)


def stages(copy, programs):
    """For each package what may kill its mutants, the cheapest first."""
    prove = programs[("copy", "trimproof", False)]
    quick = [f"scenarios/{name}.toml" for name in QUICK]
    json_of = ["--threads", "1", "--format", "json"]
    first = Stage("quick", [prove, "prove", *quick, "--rig", "sanderling", *json_of], copy.root, compares=True)
    every = Stage("suite", [prove, "prove", "scenarios", *json_of], copy.root, compares=True)
    units = {}
    for (package, name, is_test), program in programs.items():
        if is_test and package != "copy":
            units.setdefault(package, []).append(Stage(f"{package} {name}", [program, "--test-threads", "1"],
                                                       copy.root, f"src/{package}"))
    whole = [Stage(f"tests/{name}", [programs[("copy", name, True)]], copy.root)
             for name in ("reference", "back_to_back", "cli", "scenarios") if ("copy", name, True) in programs]
    result = {}
    for package in ("controller", "board", "plant", "harness"):
        own = units.get(package, [])
        others = [stage for other, stages in units.items() if other != package for stage in stages]
        # The board is not in the suite.
        result[package] = [first, *own, every, *others, *whole] if package != "board" else [*own, *others, *whole]
    return result


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--only", default="*", help="files, a pattern")
    arguments.add_argument("--sample", type=float, default=1.0, help="share of the mutants")
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--threads", type=int, default=os.cpu_count())
    arguments.add_argument("--scratch", type=pathlib.Path, default=ROOT / "target/mutants")
    arguments.add_argument("--quick", action="store_true", help="without the stages that take minutes")
    arguments.add_argument("--list", action="store_true")
    args = arguments.parse_args()
    scratch = args.scratch.resolve()
    scratch.mkdir(parents=True, exist_ok=True)
    copy = Copy(scratch)
    copy.prepare()
    # All files always, so that numbers do not depend on what was asked for.
    mutants, programs = copy.build(sources("*"))
    chosen = [mutant for mutant in mutants if fnmatch.fnmatch(mutant["file"], args.only)]
    random.Random(args.seed).shuffle(chosen)
    chosen = chosen[: round(args.sample * len(chosen))]
    if args.list:
        for mutant in chosen:
            print(f"{mutant['id']:5}  {mutant['file']}:{mutant['line']}  {mutant['function']}  {mutant['from']} -> {mutant['to']}")
        return 0
    by_package = stages(copy, programs)
    kept = scratch / "results.jsonl"
    done = {}
    if kept.exists():
        for line in kept.read_text().splitlines():
            result = json.loads(line)
            done[result["key"]] = result

    def judge(mutant):
        key = f"{mutant['file']}|{mutant['function']}|{mutant['from']}|{mutant['to']}|{mutant['line']}"
        if key in done:
            return done[key]
        package = mutant["file"].split("/")[1]
        tried = [stage for stage in by_package[package] if not args.quick or stage.name in ("quick", "suite") or stage.name.startswith(package)]
        by = next((stage.name for stage in tried if stage.kills(mutant["id"])), None)
        return {"key": key, "id": mutant["id"], "package": package, "kind": mutant["kind"], "by": by}

    counts = collections.Counter()
    with concurrent.futures.ThreadPoolExecutor(args.threads) as pool, open(kept, "a") as out:
        for number, result in enumerate(pool.map(judge, chosen), 1):
            counts[result["package"], result["by"] is not None] += 1
            if result["key"] not in done:
                out.write(json.dumps(result) + "\n")
                out.flush()
            if result["by"] is None:
                print("survives", result["id"], result["key"].replace("\n", " "), flush=True)
            if number % 50 == 0:
                killed = sum(n for (_, dead), n in counts.items() if dead)
                print(f"{number} of {len(chosen)}: {killed} killed", file=sys.stderr, flush=True)
    killed = sum(n for (_, dead), n in counts.items() if dead)
    for package in ("controller", "board", "plant", "harness"):
        dead, alive = counts[package, True], counts[package, False]
        print(f"{package:12} {dead:5} of {dead + alive:5} killed")
    print(f"in all       {killed:5} of {len(chosen):5} killed")
    return 0 if chosen and killed >= BAR * len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main())
