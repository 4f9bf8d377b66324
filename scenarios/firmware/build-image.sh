#!/bin/sh
# Builds the firmware in DIR for an ATmega2560 board with the common setup()/loop() API.
#
#     scenarios/firmware/build-image.sh DIR OUT.elf
#
# Needs avr-gcc and the API's core (Debian: gcc-avr, avr-libc, arduino-core-avr). CORE_AVR may name
# the folder that holds `cores`, `variants` and `libraries`. Exit codes: 0 built, 1 the sources do
# not compile, 2 wrong arguments, 3 something is not installed.
set -eu

if [ $# -ne 2 ] || [ ! -d "$1" ]; then
    echo "usage: $0 DIR OUT.elf" >&2
    exit 2
fi
dir=$1
out=$2
core=${CORE_AVR:-/usr/share/arduino/hardware/arduino/avr}

for tool in avr-gcc avr-g++; do
    if ! command -v "$tool" >/dev/null 2>&1; then
        echo "$0: $tool is missing. Install it, on Debian: apt-get install gcc-avr avr-libc" >&2
        exit 3
    fi
done
if [ ! -f "$core/cores/arduino/Arduino.h" ]; then
    echo "$0: no core in $core. Install it, on Debian: apt-get install arduino-core-avr" >&2
    exit 3
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM

flags="-mmcu=atmega2560 -DF_CPU=16000000UL -DARDUINO=10819 -DARDUINO_ARCH_AVR -Os -g \
-ffunction-sections -fdata-sections"
cxx="-std=gnu++11 -fpermissive -fno-exceptions -fno-threadsafe-statics"
include="-I$core/cores/arduino -I$core/variants/mega -I$core/libraries/EEPROM/src -I$dir"

# The API's core, without its text class: it needs the heap, and no firmware here uses it.
for source in "$core"/cores/arduino/*.c; do
    avr-gcc $flags -std=gnu11 -w $include -c "$source" -o "$work/core-$(basename "$source").o"
done
for source in "$core"/cores/arduino/*.cpp; do
    case $source in */WString.cpp) continue ;; esac
    avr-g++ $flags $cxx -w $include -c "$source" -o "$work/core-$(basename "$source").o"
done
for source in "$core"/cores/arduino/*.S; do
    [ -f "$source" ] || continue
    avr-gcc $flags -x assembler-with-cpp $include -c "$source" \
        -o "$work/core-$(basename "$source").o"
done

# The firmware: its C and C++ files, and sketches (.ino), which are C++ with the API included.
found=no
for source in "$dir"/*.c "$dir"/*.cpp "$dir"/*.ino; do
    [ -f "$source" ] || continue
    found=yes
    object="$work/firmware-$(basename "$source").o"
    case $source in
        *.c) avr-gcc $flags -std=gnu11 -Wall -Wextra $include -c "$source" -o "$object" ;;
        *) avr-g++ $flags $cxx -Wall -Wextra $include -include Arduino.h -x c++ -c "$source" \
            -o "$object" ;;
    esac
done
if [ "$found" = no ]; then
    echo "$0: no .c, .cpp or .ino file in $dir" >&2
    exit 2
fi

avr-g++ $flags -Wl,--gc-sections "$work"/*.o -lm -o "$out"
avr-size "$out" 2>/dev/null || true
