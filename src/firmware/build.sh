#!/usr/bin/env bash
# Builds the firmware images and prints their sizes: build.sh [cortex-m|avr|all]
#
# Images go to ${CARGO_TARGET_DIR:-target}/firmware/. The target's core library is taken from the toolchain if it is installed
# there, else built from the sources of a rustup toolchain (component rust-src) or of an unpacked Debian package (rust-web-src).
#
# TRIMPROOF_RUST_PREFIX names the folder of such Debian packages (`dpkg -x`), if there is one.
# Exit codes: 0 built, 2 unusable arguments, 3 something must be installed first (the message says what),
# 70 the image would not work (the message says why).
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
root=$(cd "$here/../.." && pwd)
# A relative folder is meant from where the caller stands, as cargo does.
target=${CARGO_TARGET_DIR:-$root/target}
case $target in /*) ;; *) target=$PWD/$target ;; esac
export CARGO_TARGET_DIR=$target
prefix=${TRIMPROOF_RUST_PREFIX:-}
images=$target/firmware

fail() { printf '%s\n' "$@" >&2; exit 3; }
have() { command -v "$1" >/dev/null 2>&1; }
# Whether the toolchain has the target's core library: core_for TARGET
core_for() { rustc --print target-libdir --target "$1" 2>/dev/null | xargs -r test -d; }
# Whether a toolchain has the sources of the core library: sources_of RUSTC...
sources_of() { local root; root=$("$@" --print sysroot 2>/dev/null) && test -f "$root/lib/rustlib/src/rust/library/core/Cargo.toml"; }
has_nightly() { rustc +nightly --version >/dev/null 2>&1; }

# Runs cargo with the Debian packages' compiler.
debian_cargo() {
    PATH="$prefix/usr/bin:$PATH" LD_LIBRARY_PATH="$prefix/usr/lib/x86_64-linux-gnu${LD_LIBRARY_PATH:+:$LD_LIBRARY_PATH}" \
        RUSTC="$prefix/usr/bin/rustc" RUSTC_BOOTSTRAP=1 "$prefix/usr/bin/cargo" "$@"
}

# Builds one package whose core library must be built too: build_std PACKAGE TARGET PROFILE REMEDY
build_std() {
    local package=$1 triple=$2 profile=$3 remedy=$4
    if has_nightly && sources_of rustc +nightly; then
        cargo +nightly build -Zbuild-std=core --locked --profile "$profile" -p "$package" --target "$triple"
    elif [[ -n $prefix && -x $prefix/usr/bin/cargo ]]; then
        debian_cargo build -Zbuild-std=core --locked --profile "$profile" -p "$package" --target "$triple"
    else
        fail "cannot build the core library for \`$triple\`: no sources of it here" "install it: $remedy" \
            "or unpack Debian's rustc-web, cargo-web, rust-web-src, libstd-rust-web-dev and what they need with \`dpkg -x\` into a folder" \
            "and name that folder in TRIMPROOF_RUST_PREFIX"
    fi
}

cortex_m() {
    cd "$here"
    if core_for thumbv7m-none-eabi; then
        cargo build --locked --release -p trimproof-cortex-m --target thumbv7m-none-eabi
    else
        build_std trimproof-cortex-m thumbv7m-none-eabi release '`rustup target add thumbv7m-none-eabi`'
    fi
    mkdir -p "$images"
    cp "$target/thumbv7m-none-eabi/release/trimproof-cortex-m" "$images/trimproof-cortex-m.elf"
}

avr() {
    cd "$here"
    have avr-gcc || fail 'no `avr-gcc`, which links the AVR image' 'install it: `apt-get install gcc-avr avr-libc`'
    build_std trimproof-avr avr-none avr '`rustup toolchain install nightly --component rust-src`'
    mkdir -p "$images"
    check_avr "$target/avr-none/avr/trimproof-avr.elf"
    cp "$target/avr-none/avr/trimproof-avr.elf" "$images/trimproof-avr.elf"
}

# Refuses an image that would build and then answer wrongly.
check_avr() {
    local end; end=$(avr-size "$1" | awk 'NR == 2 { print $1 + $2 }')
    # QEMU 7.2 forgets the upper part of the address when the C runtime copies initial values from flash.
    [[ $end -le 65536 ]] || { echo "the AVR image ends at $end; above 65536 QEMU starts it with wrong initial values" >&2; exit 70; }
    # LLVM reads arguments that stand on the stack one byte too low where calls push three bytes (ATmega2560): there must be none.
    # They are what a function reads above its own frame and the registers that it has saved.
    avr-objdump -d --no-show-raw-insn "$1" | awk '
        /^[0-9a-f]+ <.*>:$/ { name = $2; line = 0; saved = 0; frame = 0 }
        { line++ }
        line < 25 && $2 == "push" { saved++ }
        line < 35 && $2 == "sbiw" && $3 == "r28," { frame += $NF }
        line < 35 && $2 == "subi" && $3 == "r28," { frame += $NF }
        line < 35 && $2 == "sbci" && $3 == "r29," { frame += 256 * $NF }
        match($0, /Y\+[0-9]+/) && substr($0, RSTART + 2, RLENGTH - 2) + 0 > frame + saved { bad[name] = 1 }
        END { for (name in bad) { print "arguments on the stack, which LLVM reads wrongly on this chip: " name; code = 70 } exit code }' >&2
}

# Prints one line of the table: row IMAGE FLASH_BYTES RAM_BYTES
row() {
    local image=$images/$1 flash=$2 ram=$3 tool=""
    for tool in size avr-size llvm-size ""; do
        # Each of them reads any ELF file.
        if [[ -n $tool ]] && have "$tool"; then break; fi
    done
    [[ -n $tool ]] || fail 'no `size`, which reads the sizes of an image' 'install it: `apt-get install binutils`'
    "$tool" "$image" | awk -v name="$1" -v flash="$flash" -v ram="$ram" \
        'NR == 2 { printf "%-24s %9d of %6d   %9d of %6d\n", name, $1 + $2, flash, $2 + $3, ram }'
}

what=${1:-all}
[[ $# -le 1 ]] || { echo "too many arguments; usage: build.sh [cortex-m|avr|all]" >&2; exit 2; }
case $what in
    cortex-m) cortex_m ;;
    avr) avr ;;
    all) cortex_m; avr ;;
    *) printf 'unknown board `%s`; usage: build.sh [cortex-m|avr|all]\n' "$what" >&2; exit 2 ;;
esac
printf '%-24s %19s   %19s\n' image 'code, bytes' 'static RAM, bytes'
[[ $what == avr ]] || row trimproof-cortex-m.elf 262144 65536
[[ $what == cortex-m ]] || row trimproof-avr.elf 262144 8192
