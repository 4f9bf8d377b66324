#!/usr/bin/env python3
"""run.py: proves the host core. `python3 src/host/tests/run.py [NAME ...]`: a line per case.

Needs a C and a C++ compiler and nm; CC and CXX choose the compilers.
"""
import os
import shutil
import sys
import traceback

from pipe import *

cases = []


def case(function):
    cases.append(function)
    return function


def near(value, wanted, by):
    assert abs(value - wanted) <= by, f"{value} is not {wanted} +- {by}"


def pin_events(events, pin):
    return [(at, value) for at, kind, ident, value in events if kind == PIN and ident == pin]


def text_of(events, port=0):
    return bytes(e[3] for e in events if e[1] == SERIAL and e[2] == port)


def fails(how, kind, *words):
    """ends.ino with `how` in its EEPROM ends in this FAIL, and its process ends too."""
    _, process, fail = over(build("ends.ino"), 3000 * MS, 3000 * MS, fills=[(1, 0, bytes([how]))])
    status, _ = process.end()
    assert isinstance(fail, Fail) and fail.kind in kind, fail
    assert all(word in fail.text for word in words), fail
    assert status == 1, status


@case
def blink():
    events, process, _ = over(build("blink.ino"), 3100 * MS, 20 * MS)
    edges = pin_events(events, 15)
    assert [value for _, value in edges] == [0, 1, 0, 1, 0, 1, 0, 1]
    for before, after in zip(edges[1:], edges[2:]):
        near(after[0] - before[0], 500 * MS, 12_000)
    assert len([e for e in events if e[1] == LOOP]) == 4
    assert process.end() == (0, "")


@case
def blink_328p_and_32u4():
    for chip, pin in [("atmega328p", 13), ("atmega32u4", 23)]:
        events, _, _ = over(build("blink.ino", chip), 600 * MS, 20 * MS, chip=chip)
        assert [value for _, value in pin_events(events, pin)] == [0, 1, 0], chip


@case
def adc_codes_and_times():
    values = [("first_code", "H"), ("code", "H"), ("first_us", "I"), ("next_us", "I"),
              ("reads", "I")]
    exe = build("adc.ino")
    process = Process(exe, values=values)
    process.run(10 * MS, [(0, 1, 3, 2_500_000)])
    assert process.v["first_code"] == 512, process.v
    near(process.v["next_us"], 112 + 3.5, 4)
    near(process.v["first_us"] - process.v["next_us"], 96, 4)
    for microvolts, code in [(0, 0), (4882, 0), (4883, 1), (4_999_999, 1023), (6_000_000, 1023)]:
        now = process.run(process.run(0).now + 1 * MS, [(0, 1, 3, microvolts)])
        assert process.v["code"] == code, (microvolts, process.v, now)
    reads = process.v["reads"]
    process.run(process.run(0).now + 1000 * MS)
    near(process.v["reads"] - reads, 1e6 / 112.75, 2)


@case
def adc_sees_the_instant_of_sampling():
    exe = build("adc.ino")
    # First conversion: setup() begins at 37.5 us, micros() 3.5, call 8, sample 108 after that.
    sample_ns = 37_500 + 3_500 + 8_000 + 108_000
    for at, code in [(sample_ns, 512), (sample_ns + 1, 0)]:
        process = Process(exe, values=[("first_code", "H")])
        process.run(1 * MS, [(at, 1, 3, 2_500_000)])
        assert process.v["first_code"] == code, (at, process.v)


@case
def adc_other_reference():
    process = Process(build("adc.ino"), reference=3_300_000, values=[("code", "H")])
    process.run(10 * MS, [(0, 1, 3, 1_650_000)])
    assert process.v["code"] == 512


@case
def rollover_of_micros_and_millis():
    values = [(name, "I") for name in ("start_us", "now_us", "start_ms", "now_ms", "passed_us")]
    exe = build("rollover.ino")
    process = Process(exe, offset_us=2**32 - 500, values=values)
    process.run(10 * MS)
    assert process.v["start_us"] > 2**32 - 500 and process.v["now_us"] < 10_000, process.v
    near(process.v["passed_us"], 9_960, 12)
    process = Process(exe, offset_us=2**32 * 1000 - 5_000, values=values)
    process.run(10 * MS)
    assert process.v["start_ms"] > 2**32 - 8 and process.v["now_ms"] in (3, 4, 5), process.v


@case
def long_has_32_bits():
    values = [("fired", "I"), ("size", "I"), ("length", "i")]
    process = Process(build("long.ino"), offset_us=2**32 * 1000 - 20_000, values=values)
    done = process.run(120 * MS)
    # Every 10 ms across the roll-over: never early, never stuck. 1.024 ms between two counts.
    assert process.v["fired"] in (10, 11, 12) and process.v["size"] == 4, process.v
    assert text_of(done.events) == b"-5 4000000000 -5 ee6b2800 12.50 255\r\n", text_of(done.events)


@case
def narrow_rewrites_types_numbers_and_formats():
    source, target = os.path.join(WORK, "n.cpp"), narrowed
    for before, after in [
            ("unsigned long a; long b = 5L;", "unsigned int  a; int  b = 5 ;"),
            ("long int c; int long d;", "     int c; int      d;"),
            ("long unsigned int e;", "     unsigned int e;"),
            ("long long f = 5LL; long double g = 1.0L;",) * 2,
            ("#define L 1000UL\n#define T unsigned long\nlong x;",
             "#define L 1000U \n#define T unsigned int \nint  x;"),
            ('p("%lu %-5ld %lld %%ld long 5L");', 'p("%u %-5d %lld %%ld long 5L"  );'),
            ("// long 5L\n/* long */ 'l' longer 0xFFL 1e3",
             "// long 5L\n/* long */ 'l' longer 0xFF  1e3"),
            ('#include "long.h"\nR"x(long %ld)x" "unfinished long\n',) * 2]:
        with open(source, "w") as file:
            file.write(before)
        text = target(source)
        assert text == f'#line 1 "{source}"\n{after}', text


@case
def stdio_leaves_the_pipe_alone():
    _, process, fail = over(build("print.ino"), 10 * MS, 1 * MS, values=[("from_stdin", "i")])
    assert fail is None and process.v["from_stdin"] == -1
    status, text = process.end()
    assert status == 0 and text == "from a constructor\nhello\nraw\n", (status, text)


@case
def exit_fails_2():
    fails(1, (2,))


@case
def crashes_fail_1_with_the_signal():
    for how, name in [(2, "SIGSEGV"), (3, "SIGFPE"), (4, "SIGABRT"), (5, "SIGILL"),
                      (6, "SIGSEGV"), (13, "SIGABRT")]:
        fails(how, (1,), name)


@case
def endless_loop_fails_3():
    fails(7, (3,), "endless loop")


@case
def memory_fails():
    fails(8, (4,), "256 MiB")
    fails(9, (1, 4))


@case
def flood_fails_5():
    fails(10, (5,), "200,000")


@case
def delay_with_interrupts_off_fails_3():
    fails(11, (3,), "interrupts off")


@case
def unknown_pin_fails_9():
    fails(12, (9,), "pin")


@case
def interrupts_at_the_instant():
    names = [(n, "I") for n in ("rises", "changes", "lows", "last_rise_us", "delay_us")]
    process = Process(build("interrupt.ino"), values=names)
    done = process.run(5 * MS, [(2_000_000, 0, 36, 1), (3_000_000, 0, 36, 0), (4_000_000, 0, 36, 1),
                                (4_500_000, 0, 37, 1)])
    assert process.v["rises"] == 2 and process.v["changes"] == 1, process.v
    near(process.v["last_rise_us"], 4_000, 12)  # in the midst of delay(10)
    assert [at // 1000 for at, pin, _ in done.of(PIN) if pin == 61][1:] == [2016, 4016]
    # Interrupts are off from about 10.1 to 20.1 ms: one pending rise, then one change.
    process.run(15 * MS, [(12_000_000, 0, 36, 0), (13_000_000, 0, 36, 1)])
    assert process.v["rises"] == 2 and process.v["delay_us"] in range(10_000, 10_012), process.v
    done = process.run(25 * MS)
    assert process.v["rises"] == 3
    near(pin_events(done.events, 61)[-1][0], 20_080_000, 20_000)
    near(process.v["last_rise_us"], 20_072 - 9 * 1024, 12)  # the clock lost overflows
    assert process.v["lows"] == 0
    process.run(30 * MS, [(26 * MS, 0, 27, 0), (27 * MS, 0, 27, 1)])
    near(process.v["lows"], 19, 2)  # at each call while the level stands: wait, loop turn-around


@case
def inputs_and_pull_ups():
    process = Process(build("inputs.ino"), values=[("plain", "B"), ("pulled", "B")])
    done = process.run(1 * MS)
    assert (process.v["plain"], process.v["pulled"]) == (0, 1)
    assert pin_events(done.events, 1)[0][1] == 3
    for level, seen in [(0, (0, 0)), (1, (1, 1)), (2, (0, 1))]:
        process.run(done.now + (level + 1) * MS, [(done.now + 1 + level * MS, 0, 0, level),
                                                   (done.now + 1 + level * MS, 0, 1, level)])
        assert (process.v["plain"], process.v["pulled"]) == seen, level


@case
def eeprom():
    values = [("filled", "B"), ("empty", "B"), ("again", "B"), ("first_us", "I"),
              ("second_us", "I"), ("length", "I"), ("value", "H")]
    process = Process(build("eeprom.ino"), fills=[(1, 10, b"\x42")], values=values)
    done = process.run(30 * MS)
    v = process.v
    assert (v["filled"], v["empty"], v["again"], v["length"], v["value"]) \
        == (0x42, 0xFF, 0xAB, 4096, 0x1234), v
    near(v["first_us"], 5, 4)
    near(v["second_us"], 3_405, 8)
    assert [value for _, _, value in done.of(EEPROM)] \
        == [20 << 8 | 0xAB, 21 << 8 | 0xCD, 30 << 8 | 0x34, 31 << 8 | 0x12, 4095 << 8 | 7]
    process = Process(build("eeprom.ino", "atmega328p"), "atmega328p")
    assert process.run(30 * MS).of(EEPROM)[-1][2] == 1023 << 8 | 7  # the address wraps


@case
def watchdog():
    for how in (0, 1):  # stops resetting it; hangs in a loop without a call
        process = Process(build("watchdog.ino"), fills=[(1, 0, bytes([how]))])
        events, fail = [], None
        for ms in range(20, 2000, 20):
            done = process.run(ms * MS)
            if isinstance(done, Fail):
                fail = done
                break
            events += done.events
        assert fail and fail.kind == 9 and fail.text == "watchdog reset", fail
        assert events[-1][1:] == (CHIP_RESET, 0, 1)
        near(events[-1][0], 1128 * MS, 1 * MS)
    _, _, fail = over(build("watchdog.ino"), 2000 * MS, 20 * MS, fills=[(1, 0, b"\x02")])
    assert fail is None


@case
def serial_blocks_and_prints():
    values = [("short_us", "I"), ("burst_us", "I"), ("flush_us", "I"), ("room_before", "i"),
              ("room_after", "i")]
    process = Process(build("serial.ino"), values=values)
    done = process.run(300 * MS)
    sent = done.of(SERIAL)
    byte_ns = 80 * 208 * 62.5  # the divider at 9600 baud: 16 MHz / 8 / 208
    for before, after in zip(sent[:164], sent[1:165]):
        near(after[0] - before[0], byte_ns, 1)
    assert [value for _, _, value in sent[:165]] == list(range(165))
    v = process.v
    assert (v["room_before"], v["room_after"]) == (63, 0), v
    near(v["short_us"], 65 * 110 / 16, 8)
    near(v["burst_us"], 100 * byte_ns / 1000, 1000)
    near(v["flush_us"], 65 * byte_ns / 1000, 1000)
    text = bytes(value for _, _, value in sent[165:])
    assert text == (
        b"-12 FFFFFFFF 11001000 3.14159 -0.01 flash 4294967295 a1,ff1.5\r\n"
        b"HELLO PINS6EL-1\r\n"), text


@case
def features_of_the_api():
    wanted = ["7", "3p", "3p", "1", "1", "1011", "1234", "-7", "0.300000", "ovf", "nan", "name",
              "60000", "0", "19", "71", "-3", "n=5 u=3000000000 f=2.50 c=x", "3", "19.50", "1", "1",
              "16807", "0", "raw", "4294967291", ""]
    for chip in ("atmega2560", "atmega328p"):
        done = Process(build("features.ino", chip), chip).run(1100 * MS)
        lines = text_of(done.events).decode().replace("\r", "").split("\n")
        assert lines == wanted, [pair for pair in zip(lines, wanted) if pair[0] != pair[1]]


@case
def pulses_and_shifts():
    values = [("pulse_us", "I"), ("none_us", "I"), ("shifted", "B")]
    process = Process(build("pulse.ino"), values=values)
    # High at the start is a pulse already under way: not the one that is measured.
    done = process.run(30 * MS, [(0, 0, 0, 1), (1 * MS, 0, 0, 0), (3 * MS, 0, 0, 1),
                                 (4_500_000, 0, 0, 0), (6_550_000, 0, 0, 1)])
    assert (process.v["none_us"], process.v["shifted"]) == (0, 0xFF), process.v
    near(process.v["pulse_us"], 1500, 2)
    clocks = [at for at, value in pin_events(done.events, 59) if value == 1]
    data = pin_events(done.events, 35)
    bits = [[v for at, v in data if at < clock][-1] for clock in clocks[:8]]
    assert bits == [1, 0, 1, 0, 0, 1, 0, 1] and len(clocks) == 16, bits


@case
def tone_and_pwm():
    done = Process(build("tone.ino")).run(60 * MS)
    tone = [at for at, value in pin_events(done.events, 61)][1:]
    assert len(tone) == 40, len(tone)
    for before, after in zip(tone, tone[1:]):
        near(after - before, 500_000, 4_000)
    for pin, period, part in [(62, 2_040_000, 64 / 255), (53, 1_024_000, 64 / 256)]:
        ups = [at for at, value in pin_events(done.events, pin) if value == 1]
        downs = [at for at, value in pin_events(done.events, pin) if value == 0][1:]
        near(ups[1] - ups[0], period, 1)
        near(downs[0] - ups[0], period * part, 1)
    assert [value for _, value in pin_events(done.events, 12)] == [0, 1]
    assert pin_events(done.events, 62)[-1][1] == 0


@case
def pwm_keeps_its_phase_and_duty():
    # Written anew every 1 ms while the period is 2.04 ms: the share of high must be the one asked.
    process = Process(build("pwm.ino"), fills=[])
    events = process.run(200 * MS).events + process.run(1224 * MS).events
    for pin, share in [(62, 64 / 255), (53, 65 / 256)]:
        edges = [e for e in pin_events(events, pin) if e[0] > 204 * MS]
        high = sum(b[0] - a[0] for a, b in zip(edges, edges[1:]) if a[1] == 1)
        near(high / (edges[-1][0] - edges[0][0]), share, 0.002)
    # A digitalRead ends the PWM of pin 10: two full periods and no edge afterwards.
    edges = pin_events(events, 12)
    assert [value for _, value in edges] == [0, 1, 0, 1, 0] and edges[-1][0] < 6 * MS, edges


@case
def steps_do_not_change_the_run():
    changes = [(1_000_003 * i, 0, 36, i % 2) for i in range(1, 90)]
    changes += [(2_700_001 * i, 1, 0, i % 3 * 2_000_000) for i in range(1, 30)]
    changes.sort()
    exe = build("mixed.ino")
    runs = [over(exe, 100 * MS, step, changes)[0]
            for step in (100 * MS, 1 * MS, 1_000_003, 77_777)]
    # An event at the very end of a step may be reported with the next one: compare the times.
    assert runs[0] == runs[1] == runs[2] == runs[3]
    assert len(runs[0]) > 300 and len(text_of(runs[0])) > 100


@case
def same_frames_same_bytes():
    exe = build("mixed.ino")
    assert over(exe, 50 * MS, MS)[0] == over(exe, 50 * MS, MS)[0]


@case
def empty_loop_advances():
    events, _, _ = over(build("empty.ino"), 10 * MS, MS)
    starts = [at for at, kind, _, _ in events if kind == LOOP]
    near(len(starts), (10 * MS - 37_500) / 750, 1)


@case
def clock_with_interrupts_off():
    values = [("lost_us", "I"), ("frozen_ms", "I"), ("after_ms", "I")]
    process = Process(build("clock_off.ino"), values=values)
    process.run(20 * MS)
    assert process.v["frozen_ms"] == 0 and process.v["after_ms"] == 2, process.v
    assert 1_000 <= process.v["lost_us"] <= 2_048, process.v


@case
def usb_port_of_the_32u4():
    process = Process(build("usb.ino", "atmega32u4"), "atmega32u4")
    done = process.run(5 * MS, [(0, 1, 7, 3_000_000)])  # A0 is channel 7
    assert text_of(done.events, 8) == b"u" and text_of(done.events, 1) == b"s"
    assert pin_events(done.events, 23)[-1][1] == 1


@case
def small_interface_in_c99():
    values = [("start_ns", "Q"), ("end_ns", "Q"), ("code", "H")]
    process = Process(build("small.c"), offset_us=1000, values=values,
                      fills=[(1, 4, b"\x77")])
    done = process.run(10 * MS, [(5 * MS, 0, 36, 1), (5 * MS, 1, 7, 1_000_000)])
    near(process.v["end_ns"] - process.v["start_ns"], 251_250, 1)
    near(process.v["start_ns"], 1_000_000, 60_000)
    assert process.v["code"] == 204
    assert text_of(done.events, 1) == b"\x55"
    assert [v for _, _, v in done.of(EEPROM)] == [5 << 8 | 0x77]
    assert [v for _, v in pin_events(done.events, 13)] == [0, 1]


@case
def image_only_things_do_not_compile():
    for define, words in [("WITH_REGISTER", "no register"), ("WITH_VECTOR", "no vectors"),
                          ("WITH_BUS", "no SPI")]:
        command = program_command("register.ino", "atmega2560", ["-D" + define])
        good, text = compiled(*command, "-c", "-o", os.devnull)
        assert not good and words in text and "image at its pins" in text, text
        assert text.count("error:") == 1, text
    build("register.ino")


@case
def bad_requests_fail_6():
    exe = build("empty.ino")
    assert Process(exe, chip="atmega8").ready.kind == 6
    assert Process(exe, chip="atmega328p").ready.kind == 6  # compiled for the 2560
    assert Process(exe, clock=0).ready.kind == 6
    assert Process(exe, clock=8_000_000).ready.kind == 6  # compiled for 16 MHz
    assert Process(exe, fills=[(0, 0, b"x")]).ready.kind == 6
    assert Process(exe, fills=[(1, 4096, b"x")]).ready.kind == 6
    for changes in [[(5, 0, 1, 1), (4, 0, 1, 1)], [(MS + 1, 0, 1, 1)], [(0, 0, 96, 1)],
                    [(0, 1, 16, 1)], [(0, 0, 1, 3)], [(0, 2, 1, 1)]]:
        assert Process(exe).run(MS, changes).kind == 6, changes
    assert Process(exe, values=[(8, "I")]).run(MS).kind == 6  # an address that nobody has
    process = Process(exe)
    process.send(0x03, b"")
    assert process.receive().kind == 6
    process = Process(exe, begin=False)
    process.send(0x02, b"\0" * 10)
    assert process.receive().kind == 6
    process = Process(exe, begin=False)
    process.send(0x01, b"\x01")
    assert process.receive().kind == 6
    assert Process(exe, begin=False).end() == (0, "")


@case
def sanitizers():
    extra = ["-fsanitize=address,undefined"]
    for name in ["mixed.ino", "serial.ino", "interrupt.ino", "eeprom.ino", "tone.ino"]:
        changes = [(1_000_003 * i, 0, 36, i % 2) for i in range(1, 90)]
        events, process, fail = over(build(name, extra=extra), 300 * MS, MS, changes)
        assert fail is None and process.end() == (0, "") and events
        assert events == over(build(name), 300 * MS, MS, changes)[0]
    _, process, fail = over(build("overflow.ino", extra=extra), 300 * MS, MS)
    status, text = process.end()
    assert fail is None and status != 0 and "overflow.ino:9" in text, (status, text)


@case
def polling_is_cheap():
    process = Process(build("poll.ino"), values=[("polls", "I")])
    for ms in range(1, 2001):
        process.run(ms * MS)
    near(process.v["polls"], 2e9 / 3500, 100)
    process.process.stdin.close()
    _, _, usage = os.wait4(process.process.pid, 0)
    print(f"    2 virtual seconds, {process.v['polls']} polls: "
          f"{usage.ru_utime + usage.ru_stime:.3f} s of CPU")
    assert usage.ru_utime + usage.ru_stime < 1.0


def main():
    wanted, failed = sys.argv[1:], 0
    for function in cases:
        if wanted and function.__name__ not in wanted:
            continue
        try:
            function()
            print("pass", function.__name__, flush=True)
        except Exception:
            failed += 1
            print("FAIL", function.__name__, flush=True)
            traceback.print_exc(limit=-2, file=sys.stdout)
    shutil.rmtree(WORK)
    print("all passed" if not failed else f"{failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
