#!/usr/bin/env bash
# Fuzzes the decoder and the board's loop: tests/fuzz/run.sh SECONDS [decoder|hello]
# Each target runs for SECONDS, one worker, from the seeds in tests/fuzz/corpus. Exit 0: no crash; 1: a crash, whose
# input is named; 3: not possible here, with what to install. New inputs stay in target/fuzz, not in the seeds.
set -euo pipefail
cd "$(dirname "$0")"

seconds=${1:-}
if ! [[ $seconds =~ ^[1-9][0-9]*$ ]]; then
    echo "usage: tests/fuzz/run.sh SECONDS [decoder|hello]" >&2
    exit 2
fi
targets=(decoder hello)
if [[ $# -gt 1 ]]; then
    targets=("$2")
fi
if ! rustc +nightly --version >/dev/null 2>&1; then
    echo "fuzzing needs the nightly toolchain: \`rustup toolchain install nightly --profile minimal\`" >&2
    exit 3
fi
if ! command -v c++ >/dev/null 2>&1; then
    echo "fuzzing needs a C++ compiler for the fuzzer's runtime: \`apt-get install g++\`" >&2
    exit 3
fi

if ! cargo +nightly fetch --locked >/dev/null 2>&1; then
    echo "fuzzing needs the crates of tests/fuzz/Cargo.lock once: \`cargo +nightly fetch --manifest-path tests/fuzz/Cargo.toml\` with a network" >&2
    exit 3
fi

root=$(cd ../.. && pwd)
out=${CARGO_TARGET_DIR:-$root/target}/fuzz
mkdir -p "$out"
host=$(rustc +nightly -vV | sed -n 's/^host: //p')
# What cargo-fuzz would pass: coverage of edges and comparisons, and the address sanitizer.
export RUSTFLAGS="--cfg fuzzing -Zsanitizer=address -Ccodegen-units=1 -Cpasses=sancov-module
  -Cllvm-args=-sanitizer-coverage-level=4 -Cllvm-args=-sanitizer-coverage-inline-8bit-counters
  -Cllvm-args=-sanitizer-coverage-pc-table -Cllvm-args=-sanitizer-coverage-trace-compares"
for target in "${targets[@]}"; do
    CARGO_TARGET_DIR="$out" cargo +nightly build --release --locked --target "$host" --bin "$target"
    mkdir -p "$out/found/$target" "$out/crashes/$target"
    echo "== $target, $seconds s"
    "$out/$host/release/$target" "$out/found/$target" "corpus/$target" \
        -max_total_time="$seconds" -max_len=2048 -timeout=10 -print_final_stats=1 \
        -artifact_prefix="$out/crashes/$target/" || {
        echo "a crash: its input is in $out/crashes/$target" >&2
        exit 1
    }
done
