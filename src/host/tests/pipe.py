"""pipe.py: the harness's side of the pin pipe, and how a program is built, for run.py."""
import os
import struct
import subprocess
import tempfile

HOST = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
PROGRAMS = os.path.join(HOST, "tests", "programs")
CC = os.environ.get("CC", "gcc")
CXX = os.environ.get("CXX", "g++")
WARN = ["-Wall", "-Wextra", "-Werror"]
WORK = tempfile.mkdtemp(prefix="trimproof-host-")
PIN, SERIAL, LOOP, EEPROM, CHIP_RESET = range(5)
MS = 1_000_000
objects = {}


def compiled(*command):
    done = subprocess.run(command, capture_output=True, text=True)
    return done.returncode == 0, done.stderr


def must(*command):
    good, text = compiled(*command)
    if not good:
        raise AssertionError(" ".join(command) + "\n" + text)


def core_objects(chip, extra=()):
    """Core and board API for one chip; compiled once."""
    key = (chip, tuple(extra))
    if key not in objects:
        out = tempfile.mkdtemp(dir=WORK)
        objects[key] = []
        board = ["-I" + HOST + "/api", "-DTP_CHIP_" + chip.upper(), "-DF_CPU=16000000UL"]
        for name in ["core.c", "pipe.c", "pins.c", "waves.c", "serial.c", "guard.c",
                     "api/wiring.c", "api/wiring.cpp", "api/numbers.c", "api/print.cpp",
                     "api/wstring.cpp"]:
            target = os.path.join(out, name.replace("/", "_") + ".o")
            first = [CC, "-std=gnu99"] if name.endswith(".c") else [CXX, "-std=gnu++11"]
            more = board if name.startswith("api/") else []
            must(*first, "-O1", "-g", *WARN, *extra, "-I" + HOST, *more, "-c",
                 os.path.join(HOST, name), "-o", target)
            objects[key].append(target)
    return objects[key]


def narrowed(path):
    tool = os.path.join(WORK, "narrow")
    if not os.path.exists(tool):
        must(CC, "-std=gnu99", "-O1", *WARN, "-fsanitize=address,undefined",
             os.path.join(HOST, "narrow.c"), "-o", tool)
    return subprocess.run([tool, path], check=True, capture_output=True, text=True).stdout


def program_command(name, chip, extra=()):
    """The command up to the source: the flags that the README gives."""
    board = ["-I" + HOST + "/api", "-I" + HOST, "-DTP_CHIP_" + chip.upper(),
             "-DF_CPU=16000000UL"]
    source = os.path.join(PROGRAMS, name)
    if name.endswith(".c"):
        return [CC, "-std=c99", "-O1", "-g", *WARN, "-fno-strict-aliasing", *extra, *board, source]
    copy = os.path.join(WORK, name + ".cpp")
    with open(copy, "w") as file:
        file.write(narrowed(source))
    return [CXX, "-std=gnu++11", "-O1", "-g", *WARN, "-fno-strict-aliasing", *extra, *board,
            "-x", "c++", "-include", "Arduino.h", copy, "-x", "none"]


def build(name, chip="atmega2560", extra=()):
    exe = os.path.join(WORK, name + "." + chip + "".join(extra).replace("=", "").replace(",", ""))
    linked = core_objects(chip, extra)
    if name.endswith(".c"):  # the small interface alone: no board API
        linked = [o for o in linked if "api_" not in o]
    must(*program_command(name, chip, extra), *linked, "-no-pie", "-o", exe)
    return exe


def address(exe, symbol):
    for line in subprocess.check_output(["nm", exe], text=True).splitlines():
        fields = line.split()
        if fields[-1] == symbol:
            return int(fields[0], 16)
    raise AssertionError("no symbol " + symbol)


class Done:
    def __init__(self, body):
        self.now, count = struct.unpack_from("<QI", body)
        self.events = [struct.unpack_from("<QBBI", body, 12 + 14 * i) for i in range(count)]
        rest = body[12 + 14 * count:]
        self.count_of_values, self.values = rest[0], rest[1:]

    def of(self, kind):
        return [(at, ident, value) for at, k, ident, value in self.events if k == kind]


class Fail:
    def __init__(self, body):
        self.kind, length = struct.unpack_from("<BH", body)
        self.text = body[3:].decode()
        assert len(body) == 3 + length

    def __repr__(self):
        return f"FAIL {self.kind} {self.text}"


class Process:
    """One process; `values` are (symbol, struct letter), read after each run into self.v."""

    def __init__(self, exe, chip="atmega2560", clock=16_000_000, reference=5_000_000,
                 offset_us=0, fills=(), values=(), begin=True):
        self.process = subprocess.Popen([exe], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                        stderr=subprocess.PIPE)
        self.layout = "<" + "".join(letter for _, letter in values)
        self.names = [name for name, _ in values]
        self.v = {}
        if not begin:
            return
        body = struct.pack("<HB", 1, len(chip)) + chip.encode()
        body += struct.pack("<IIIQH", clock, reference, 5_000_000, offset_us, len(fills))
        for space, at, data in fills:
            body += struct.pack("<BII", space, at, len(data)) + data
        body += bytes([len(values)])
        for name, letter in values:
            at = address(exe, name) if isinstance(name, str) else name
            body += struct.pack("<QB", at, struct.calcsize(letter))
        self.send(0x01, body + struct.pack("<BI", 0, 0))
        self.ready = self.receive()

    def send(self, kind, body):
        self.process.stdin.write(struct.pack("<IB", len(body) + 1, kind) + body)
        self.process.stdin.flush()

    def receive(self):
        head = self.process.stdout.read(4)
        if len(head) < 4:
            return None
        frame = self.process.stdout.read(struct.unpack("<I", head)[0])
        if frame[0] == 0x81:
            assert frame[1:3] == b"\x01\0" and frame[3] == len(frame) - 4
            return frame[4:].decode()
        if frame[0] == 0x83:
            return Fail(frame[1:])
        assert frame[0] == 0x82, frame[0]
        done = Done(frame[1:])
        if self.names:
            self.v = dict(zip(self.names, struct.unpack(self.layout, done.values)))
        return done

    def run(self, until, changes=()):
        body = struct.pack("<QH", until, len(changes))
        self.send(0x02, body + b"".join(struct.pack("<QBBI", *c) for c in changes))
        return self.receive()

    def end(self):
        """Closes stdin; the exit status and what stands on stderr."""
        _, text = self.process.communicate(timeout=60)
        return self.process.returncode, text.decode()


def over(exe, until, step, changes=(), **begin):
    """Events of a whole run in steps; the process too, for its values. Stops at FAIL."""
    process = Process(exe, **begin)
    assert process.ready == "host core 0.1.0", process.ready
    events, at = [], 0
    while at < until:
        before, at = at, min(at + step, until)
        now = [c for c in changes if (c[0] > before or before == 0) and c[0] <= at]
        done = process.run(at, now)
        if not isinstance(done, Done):
            return events, process, done
        assert done.now == at, (done.now, at)
        events += done.events
    return events, process, None
