#!/usr/bin/env python3
"""Mutants of controller, board, plant, formula and judge: which of them does no test see?

Needs python 3.11 and cargo; the repository itself is never changed. `mutate` (mutate.rs) writes a scratch copy that holds all
mutants at once; each is then chosen by an environment variable, so that there is one build and not one for each mutant.

    python3 tests/mutants/run.py                          everything (hours of processor time); a line for each survivor
    python3 tests/mutants/run.py --only 'src/controller/*' some files
    python3 tests/mutants/run.py --sample 0.1 --seed 1      a random share
    python3 tests/mutants/run.py --list                    the mutants, one a line

A mutant is killed when a test fails, does not end in time, or when the trace or verdict of a shipped scenario is another one
(the reviewed cards in snapshots/ hold the hash of each). Every test and every scenario is a stage of its own; each runs once
without a mutant and notes which mutants it comes by, and only these it is tried against, the quickest first. Results are kept in SCRATCH/results.jsonl and gone on with.
Exit code 0 when at least 97 % of those that ran are killed, else 1.
"""

import argparse
import collections
import concurrent.futures
import fnmatch
import hashlib
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
    "trimproof-io": ["src/io"],
    "trimproof-controller": ["src/controller"],
    "trimproof-board": ["src/board"],
    "trimproof-plant": ["src/plant"],
    "trimproof-formula": ["src/formula"],
    "trimproof-harness": ["src/harness/judge", "src/harness/laws"],
}
SWITCH = '''//! Which mutant is on: written by tests/mutants, never part of the project.
use std::io::Write;
use std::sync::atomic::{AtomicU32, Ordering::Relaxed};
static CHOSEN: AtomicU32 = AtomicU32::new(UNKNOWN);
const UNKNOWN: u32 = u32::MAX;
/// No mutant is on, and those that are asked for are written to a file.
const NOTES: u32 = u32::MAX - 1;
static ASKED: [AtomicU32; 1024] = [const { AtomicU32::new(0) }; 1024];
/// Whether this mutant is the chosen one.
#[inline(always)]
pub fn on(id: u32) -> bool {
    let chosen = CHOSEN.load(Relaxed);
    if chosen >= NOTES { other(id, chosen) } else { chosen == id }
}
#[cold]
#[inline(never)]
fn other(id: u32, mut chosen: u32) -> bool {
    if chosen == UNKNOWN {
        chosen = match std::env::var_os("TRIMPROOF_ASKED") {
            Some(_) => NOTES,
            None => std::env::var("TRIMPROOF_MUTANT").ok().and_then(|id| id.parse().ok()).unwrap_or(0),
        };
        CHOSEN.store(chosen, Relaxed);
    }
    if chosen != NOTES { return chosen == id; }
    let (word, bit) = (&ASKED[id as usize / 32], 1 << (id % 32));
    if word.load(Relaxed) & bit == 0 && word.fetch_or(bit, Relaxed) & bit == 0 {
        let path = std::env::var_os("TRIMPROOF_ASKED").expect("it was there");
        let mut file = std::fs::OpenOptions::new().create(true).append(true).open(path).expect("a file for notes");
        file.write_all(format!("{id}\\n").as_bytes()).expect("notes can be written");
    }
    false
}
'''
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

    def __init__(self, scratch, quick):
        # Of the tests of the whole, `footprint` is one that is soon built: without any, cargo leaves the program out.
        self.what = ["--lib", "--bins", "--tests"] if not quick else [
            *(word for package in (*FOLDERS, "trimproof") for word in ("-p", package)),
            "--lib", "--bins", "--test", "legal_rigs", "--test", "footprint"]
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
                if name.split("/")[1:2] and name.split("/")[1] in ("io", "controller", "board", "plant", "formula", "harness"):
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
                ["cargo", "test", "--no-run", "--offline", "--message-format=json", *self.what],
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
    """A command whose end and output distinguish a mutant from the original."""

    def __init__(self, name, command, root, folder=".", compares=False):
        self.name, self.command, self.root, self.compares = name, command, root, compares
        self.cwd = root / folder
        self.took_s = None

    def learn(self, scratch, learnt):
        """Runs it without a mutant: how long it takes, what it says, and which mutants it asks for.

        A run that does not ask for a mutant is the same run with it, and need not be tried.
        """
        programs = hashlib.sha256(pathlib.Path(self.command[0]).read_bytes())
        for argument in self.command:
            if argument.endswith(".toml"):
                programs.update((self.cwd / argument).read_bytes())
        key = f"{self.name} {programs.hexdigest()}"
        if key not in learnt:
            notes = scratch / "asked" / f"{threading.get_ident()}.txt"
            notes.parent.mkdir(exist_ok=True)
            notes.unlink(missing_ok=True)
            begun = time.monotonic()
            code, output = self.run({"TRIMPROOF_ASKED": str(notes)}, 900)
            took_s = time.monotonic() - begun
            if code != 0:
                raise SystemExit(f"`{self.name}` fails without a mutant: {code}")
            asked = sorted({int(line) for line in notes.read_text().split()}) if notes.exists() else []
            learnt[key] = {"took_s": took_s, "output": hashlib.sha256(output).hexdigest(), "asked": asked}
        known = learnt[key]
        self.took_s, self.output, self.asked = known["took_s"], known["output"], set(known["asked"])
        return key

    def run(self, chosen, patience_s):
        env = dict(os.environ, **chosen, INSTA_UPDATE="no", CI="true", RUST_BACKTRACE="0",
                   INSTA_WORKSPACE_ROOT=str(self.root))
        try:
            ran = subprocess.run(self.command, cwd=self.cwd, env=env, timeout=patience_s, stdin=subprocess.DEVNULL,
                                 stdout=subprocess.PIPE if self.compares else subprocess.DEVNULL,
                                 stderr=subprocess.DEVNULL)
        except subprocess.TimeoutExpired:
            return "no end", b""
        return ran.returncode, ran.stdout or b""

    def kills(self, mutant):
        code, output = self.run({"TRIMPROOF_MUTANT": str(mutant)}, 10 + 5 * self.took_s)
        return code != 0 or (self.compares and hashlib.sha256(output).hexdigest() != self.output)


def tests_of(program, name, root, folder):
    """A stage for each test of a test program."""
    listed = subprocess.run([program, "--list", "--format", "terse"], cwd=root / folder, check=True,
                            capture_output=True, text=True).stdout
    ignored = subprocess.run([program, "--list", "--format", "terse", "--ignored"], cwd=root / folder, check=True,
                             capture_output=True, text=True).stdout.splitlines()
    tests = [line.removesuffix(": test") for line in listed.splitlines() if line not in ignored]
    return [Stage(f"{name} {test}", [program, "--test-threads", "1", "--exact", test], root, folder) for test in tests]


def stages(copy, programs, quick):
    """For each package what may kill its mutants."""
    prove = programs[("copy", "trimproof", False)]
    suite = [
        Stage(f"scenario {path.stem}",
              [prove, "prove", f"scenarios/{path.name}", "--threads", "1", "--format", "json"], copy.root, compares=True)
        for path in sorted((copy.root / "scenarios").glob("*.toml")) if path.name != "laws.toml"
    ]
    units, whole = collections.defaultdict(list), []
    for (package, name, is_test), program in sorted(programs.items()):
        if is_test and package != "copy":
            units[package] += tests_of(program, f"{package} {name}", copy.root, f"src/{package}")
        elif is_test and not quick and name in ("reference", "back_to_back", "cli", "scenarios"):
            whole += tests_of(program, f"tests/{name}", copy.root, ".")
    result = {}
    for package in ("io", "controller", "board", "plant", "formula", "harness"):
        tests = units[package] if quick else [stage for each in units.values() for stage in each] + whole
        # The board is not in the suite.
        result[package] = tests + (suite if package != "board" else [])
    return result


def learn(by_package, scratch, threads):
    """Lets every stage run once without a mutant; what is known of programs that are as they were is kept."""
    kept = scratch / "learnt.json"
    learnt = json.loads(kept.read_text()) if kept.exists() else {}
    every = list({stage.name: stage for each in by_package.values() for stage in each}.values())
    with concurrent.futures.ThreadPoolExecutor(threads) as pool:
        keys = list(pool.map(lambda stage: stage.learn(scratch, learnt), every))
    kept.write_text(json.dumps({key: learnt[key] for key in keys}))
    print(f"{len(every)} stages, {sum(stage.took_s for stage in every):.0f} s", file=sys.stderr, flush=True)


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--only", default="*", help="files, a pattern")
    arguments.add_argument("--sample", type=float, default=1.0, help="share of the mutants")
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--threads", type=int, default=os.cpu_count())
    arguments.add_argument("--scratch", type=pathlib.Path, default=ROOT / "target/mutants")
    arguments.add_argument("--quick", action="store_true", help="only the tests of the mutant's own crate, and the scenarios")
    arguments.add_argument("--list", action="store_true")
    args = arguments.parse_args()
    scratch = args.scratch.resolve()
    scratch.mkdir(parents=True, exist_ok=True)
    copy = Copy(scratch, args.quick)
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
    by_package = stages(copy, programs, args.quick)
    learn(by_package, scratch, args.threads)
    kept = scratch / "results.jsonl"
    done = {}
    if kept.exists():
        for line in kept.read_text().splitlines():
            result = json.loads(line)
            done[result["key"]] = result
    # What kills often at little cost comes first.
    kills = collections.Counter(result["by"] for result in done.values())

    def judge(mutant):
        key = f"{mutant['file']}|{mutant['function']}|{mutant['from']}|{mutant['to']}|{mutant['line']}"
        if key in done:
            return done[key]
        package = mutant["file"].split("/")[1]
        asking = [stage for stage in by_package[package] if mutant["id"] in stage.asked]
        asking.sort(key=lambda stage: stage.took_s / (1 + kills[stage.name]))
        by = next((stage.name for stage in asking if stage.kills(mutant["id"])), None)
        kills[by] += 1
        return {"key": key, "id": mutant["id"], "package": package, "kind": mutant["kind"], "by": by,
                "tried": len(asking)}

    counts = collections.Counter()
    with concurrent.futures.ThreadPoolExecutor(args.threads) as pool, open(kept, "a") as out:
        for number, result in enumerate(pool.map(judge, chosen), 1):
            counts[result["package"], result["by"] is not None] += 1
            if result["key"] not in done:
                out.write(json.dumps(result) + "\n")
                out.flush()
            if result["by"] is None:
                print("survives" if result["tried"] else "is met by no test", result["id"], result["key"].replace("\n", " "), flush=True)
            if number % 50 == 0:
                killed = sum(n for (_, dead), n in counts.items() if dead)
                print(f"{number} of {len(chosen)}: {killed} killed", file=sys.stderr, flush=True)
    killed = sum(n for (_, dead), n in counts.items() if dead)
    for package in ("io", "controller", "board", "plant", "formula", "harness"):
        dead, alive = counts[package, True], counts[package, False]
        print(f"{package:12} {dead:5} of {dead + alive:5} killed")
    print(f"in all       {killed:5} of {len(chosen):5} killed")
    return 0 if chosen and killed >= BAR * len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main())
