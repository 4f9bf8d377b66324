#!/usr/bin/env python3
"""Writes godwit's EEPROM settings for each rig, from the rig's file, as Intel HEX.

    scenarios/firmware/godwit/eeprom/make.py           writes kittiwake.hex ... beside itself
    scenarios/firmware/godwit/eeprom/make.py --check   1 if a file is not what it would write

The layout is `struct Settings` in ../settings.h: 16-bit numbers, low byte first. A builder would
measure zero, span and phase on the bench; here they stand in the rig's [controller] table.
"""
import pathlib
import struct
import sys
import tomllib

HERE = pathlib.Path(__file__).resolve().parent
RIGS = HERE.parents[2] / "rigs"
MAGIC = 0x4757
DIVIDER = 11  # of the supply input
ADC_COUNTS = 1024
ADC_VOLTS = 5.0


def axis(settings):
    """The thirteen numbers of one axis."""
    span = settings["sensor_span_counts"]
    microsteps = settings["microsteps"]
    ratio = settings["trim_teeth"] / settings["motor_teeth"]
    usteps_per_deg = settings["full_steps_per_rev"] * microsteps * ratio / 360
    usteps = lambda mdeg: mdeg / 1000 * usteps_per_deg
    to_adc = lambda counts: counts * ADC_COUNTS / (span + 1)
    return struct.pack(
        "<HhHHHhhhHHHHH",
        round((settings["sensor_zero_counts"] + 0.5) * ADC_COUNTS / (span + 1) * 16),
        round(usteps(settings["sensor_span_mdeg"]) / ADC_COUNTS * 256),
        int(to_adc(settings["sensor_min_counts"])),
        int(to_adc(settings["sensor_max_counts"])),
        4 * microsteps,
        settings["phase_zero_usteps"],
        -int(-usteps(settings["soft_min_mdeg"])),
        int(usteps(settings["soft_max_mdeg"])),
        round(usteps(settings["glide_rate_mdeg_per_s"])),
        round(usteps(settings["nudge_rate_mdeg_per_s"])),
        round(usteps(settings["accel_mdeg_per_s2"])),
        round(usteps(settings["nudge_increment_mdeg"])),
        round(usteps(settings["hold_on_mdeg"])),
    )


def checksum(data):
    a, b = 0x5A, 0xA5
    for byte in data:
        a = (a + byte) % 255
        b = (b + a) % 255
    return b << 8 | a


def image(rig):
    controller = rig["controller"]
    volts = lambda v: round(v / DIVIDER / ADC_VOLTS * ADC_COUNTS)
    low = controller["supply_min_mv"] / 1000
    data = struct.pack("<HHH", MAGIC, volts(low - 1), volts(low - 4))
    data += axis(controller["pitch"]) + axis(controller["roll"])
    return data + struct.pack("<H", checksum(data))


def intel_hex(data):
    lines = []
    for at in range(0, len(data), 16):
        chunk = data[at : at + 16]
        record = bytes([len(chunk), at >> 8, at & 255, 0]) + chunk
        lines.append(record + bytes([-sum(record) & 255]))
    lines.append(bytes([0, 0, 0, 1, 255]))
    return "".join(":" + line.hex().upper() + "\n" for line in lines)


def main():
    wrong = 0
    for path in sorted(RIGS.glob("*.toml")):
        text = intel_hex(image(tomllib.loads(path.read_text())))
        out = HERE / (path.stem + ".hex")
        if "--check" in sys.argv[1:]:
            if not out.exists() or out.read_text() != text:
                print(f"{out} is not what this script writes", file=sys.stderr)
                wrong = 1
        else:
            out.write_text(text)
    return wrong


if __name__ == "__main__":
    sys.exit(main())
