#!/usr/bin/env python3
"""Reads a bundle and prints its change-sets.

Written from docs/bundle-format.md alone, to show that the document suffices. It
shares no code with pulk, checks less than a real reader must (no signatures), and
reads the methods raw and modelled; zstd is not in Python's library.

    python3 reader.py FILE.bundle
"""
import hashlib
import os
import re
import struct
import sys
from datetime import datetime, timedelta, timezone

HERE = os.path.dirname(os.path.abspath(__file__))
CLASSES = {0: "normal", 1: "expedited", 2: "bulk", 3: "confined"}
M32, M64 = 2**32 - 1, 2**64 - 1


def kinds():
    """Section 11 of the document, read from it."""
    with open(os.path.join(HERE, "..", "..", "docs", "bundle-format.md"), encoding="utf-8") as f:
        block = f.read().split("## 11.")[1].split("```")[1]
    found = {}
    for line in block.strip().splitlines():
        number, name, *columns = line.split()
        found[int(number)] = (name, [tuple(c.split(":")) for c in columns])
    return found


KINDS = kinds()


class Bytes:
    """Takes values off the front of some bytes."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, n):
        if self.at + n > len(self.data):
            raise ValueError("cut off at byte %d" % self.at)
        self.at += n
        return self.data[self.at - n:self.at]

    def byte(self, column=0, before=0):
        return self.take(1)[0]

    def u32(self):
        return struct.unpack(">I", self.take(4))[0]

    def uvarint(self, column=0):
        value, shift, before = 0, 0, 0
        while True:
            b = self.byte(column + min(shift // 7, 3), before)
            before = (before << 8 | b | 1 << 31) & M32
            value |= (b & 127) << shift
            if b < 128:
                if b == 0 and shift or value > M64:
                    raise ValueError("bad number")
                return value
            shift += 7

    def text(self, n, column):
        return self.take(n)


# The modelled method, section 5.

SQUASH = [1, 2, 3, 6, 10, 16, 27, 45, 73, 120, 194, 310, 488, 747, 1101, 1546, 2047, 2549, 2994, 3348, 3607, 3785, 3901,
          3975, 4022, 4050, 4068, 4079, 4085, 4089, 4092, 4093, 4094]


def squash(d):
    if d > 2046:
        return 4095
    if d < -2046:
        return 0
    i, w = (d >> 7) + 16, d & 127
    return (SQUASH[i] * (128 - w) + SQUASH[i + 1] * w + 64) >> 7


def make_stretch():
    table = []
    for d in range(-2047, 2048):
        while len(table) <= squash(d):
            table.append(d)
    return table


STRETCH = make_stretch()


def rotl(x, n):
    return (x << n | x >> (32 - n)) & M32


def hash3(a, b, c):
    h = (a * 0x9e3779b1 & M32) ^ rotl(b * 0x85ebca6b & M32, 13) ^ rotl(c * 0xc2b2ae35 & M32, 7)
    h ^= h >> 15
    h = h * 0x2c1b3c6d & M32
    return h ^ h >> 13


class Model:
    def __init__(self):
        self.slots = [{} for _ in range(6)]
        self.weights = [[19660] * 6 for _ in range(64)]
        self.column, self.last = 0, 0

    def code(self, column, before, next_bit):
        """Goes through one byte; next_bit(chance) says each bit."""
        if column >> 4 != self.column >> 4:
            self.last = 0
        self.column = column
        last = self.last
        context = [hash3(1, column, 0), hash3(2, column, last & 0xff), hash3(3, column, last & 0xffff),
                   hash3(4, column, before), hash3(5, last & 0xffffff, 1), hash3(6, column >> 4 & 0xff, last)]
        weights = self.weights[(column >> 4) % 64]
        node = 1
        for _ in range(8):
            slots = []
            for i in range(6):
                h = hash3(context[i], node, 0)
                slot = self.slots[i].get(h >> 15)
                if slot is None or slot[2] != h & 255:
                    slot = self.slots[i][h >> 15] = [32768, 0, h & 255]
                slots.append(slot)
            x = [STRETCH[slot[0] >> 4] for slot in slots]
            total = sum(a * b for a, b in zip(x, weights)) >> 16
            chance = max(1, min(4095, squash(max(-2047, min(2047, total)))))
            bit = next_bit(chance)
            error = ((bit << 12) - chance) * 14
            for i, slot in enumerate(slots):
                weights[i] = max(-2**20, min(2**20, weights[i] + ((x[i] * error + 32768) >> 16)))
                slot[0] += ((bit * 65535 - slot[0]) * (131072 // (2 * slot[1] + 3))) >> 16
                slot[1] = min(250, slot[1] + 1)
            node = node << 1 | bit
        self.last = (last << 8 | node & 255) & M32
        return node & 255


class Modelled(Bytes):
    """Gives the bytes that a model has packed."""

    def __init__(self, data):
        super().__init__(data)
        self.model = primed()
        self.low, self.high, self.value = 0, M32, 0
        for _ in range(4):
            self.shift()

    def shift(self):
        following = self.data[self.at] if self.at < len(self.data) else 0
        self.value = (self.value << 8 | following) & M32
        self.at += 1

    def bit(self, chance):
        middle = self.low + ((self.high - self.low) * chance >> 12)
        bit = 1 if self.value <= middle else 0
        if bit:
            self.high = middle
        else:
            self.low = middle + 1
        while (self.low ^ self.high) >> 24 == 0:
            self.low = self.low << 8 & M32
            self.high = (self.high << 8 | 255) & M32
            self.shift()
        return bit

    def byte(self, column=0, before=0):
        return self.model.code(column, before, self.bit)

    def text(self, n, column):
        return bytes(self.byte(column) for _ in range(n))


class Shown(Bytes):
    """Gives plain bytes and shows them to a model."""

    def __init__(self, data, model):
        super().__init__(data)
        self.model = model

    def byte(self, column=0, before=0):
        b = super().byte()
        bits = iter(range(7, -1, -1))
        self.model.code(column, before, lambda chance: b >> next(bits) & 1)
        return b

    def text(self, n, column):
        return bytes(self.byte(column) for _ in range(n))


def primed():
    with open(os.path.join(HERE, "primer.bundle"), "rb") as f:
        header = Header(f.read())
    model = Model()
    Columns(header, Shown(header.columns, model), None)
    model.last = model.column = 0
    return model


# Header and columns, sections 2 and 3.

class Header:
    def __init__(self, data):
        self.envelope = hashlib.sha256(data[:-64]).hexdigest()
        r = Bytes(data[:-64])
        if r.take(3) != b"\xb5p\x01":
            raise ValueError("no bundle of version 1")
        self.method = r.byte()
        self.campaign = r.u32()
        self.sites = [r.u32() for _ in range(r.uvarint())]
        self.at = int.from_bytes(r.take(6), "big")
        self.clock = []
        for _ in range(r.uvarint()):
            lane = self.lane(r)
            self.clock.append((lane, r.uvarint(), r.u32()))
        for _ in range(r.uvarint()):
            self.statement(r)
        self.segments = []
        for _ in range(r.uvarint()):
            lane, first, count, form = self.lane(r), r.uvarint(), r.uvarint(), r.uvarint()
            if form & 1:
                r.take(32)
            self.segments.append((lane, first, count))
        self.columns = r.data[r.at:]

    def statement(self, r):
        r.uvarint()
        r.take(32)
        for _ in range(r.uvarint()):
            self.lane(r)
            if not r.uvarint() & 1:
                r.take(32)
        r.take(64)

    def lane(self, r):
        code = r.uvarint()
        extra = r.uvarint() if code & 4 else 0
        return self.make_lane(code, extra, r.u32() if extra & 1 else 0)

    def make_lane(self, code, extra, branch):
        return (self.sites[code >> 3], extra >> 1, code & 3, branch)


class Columns:
    """All columns as lists. Plain ones are not read where plain is None."""

    def __init__(self, header, packed, plain):
        self.packed = packed
        sets = sum(count for _, _, count in header.segments)
        self.shape = self.numbers(sets, 16)
        self.time_high = self.numbers(sets, 32)
        self.counter = self.numbers(sum(s >> 1 & 1 for s in self.shape), 48)
        self.person = self.numbers(sets, 64)
        self.seen_count = self.numbers(sum(s & 1 for s in self.shape), 80)
        rows = sum(self.seen_count)
        self.seen_lane = self.lanes(header, rows, 96)
        self.seen_seq = self.numbers(rows, 112)
        self.seen_form = self.numbers(rows, 128)
        self.kind = self.numbers(sum(s >> 3 for s in self.shape), 144)
        self.by_kind = {}
        new = self.person.count(1)
        for k in sorted(set(self.kind)):
            new += self.read_kind(k, self.kind.count(k))
        self.ref_form = self.numbers(new, 160)
        self.ref_lane = self.lanes(header, self.ref_form.count(1), 176)
        self.ref_seq = self.numbers(new, 192)
        self.ref_index = self.numbers(new, 208)
        for k in sorted(self.by_kind):
            for i, column in enumerate(self.by_kind[k]):
                if column["type"] == "s":
                    column["text"] = [packed.text(n, self.id(k, i) + 32) for n in column["extra"]]
        if plain is not None:
            self.read_plain(plain, sets)

    def read_plain(self, plain, sets):
        self.time_low = list(plain.text(sets, 224))
        self.check = [int.from_bytes(plain.text(4, 240), "big") for _ in range(self.seen_form.count(0))]
        for k in sorted(self.by_kind):
            for i, column in enumerate(self.by_kind[k]):
                if column["type"] == "b":
                    column["text"] = [plain.text(n, self.id(k, i) + 32) for n in column["code"]]

    def numbers(self, n, column):
        return [self.packed.uvarint(column) for _ in range(n)]

    def lanes(self, header, n, column):
        codes = self.numbers(n, column)
        extras = iter(self.numbers(sum(c >> 2 & 1 for c in codes), column + 4))
        extras = [next(extras) if c & 4 else 0 for c in codes]
        branches = iter(self.numbers(sum(e & 1 for e in extras), column + 8))
        return [header.make_lane(c, e, next(branches) if e & 1 else 0) for c, e in zip(codes, extras)]

    @staticmethod
    def id(k, i):
        return 4096 + ((k & 65535) << 12) + (i << 6)

    def read_kind(self, k, rows):
        if k < 64 and k not in KINDS:
            raise ValueError("kind %d" % k)
        columns = KINDS[k][1] if k < 64 else [("payload", "s")]
        self.by_kind[k], new = [], 0
        for i, (name, typ) in enumerate(columns):
            column = {"name": name, "type": typ, "code": self.numbers(rows, self.id(k, i)), "extra": []}
            if typ == "d":
                column["extra"] = self.numbers(rows, self.id(k, i) + 16)
            elif typ == "s":
                column["extra"] = self.numbers(column["code"].count(1), self.id(k, i) + 16)
            elif typ == "r":
                new += column["code"].count(1)
            self.by_kind[k].append(column)
        return new


# Predictions, section 4.

PLACES = {"from": "place", "to": "place", "at": "place", "location": "place", "parent": "place",
          "assembly": "unit", "target": "unit", "entity": "unit"}


def unzigzag(n):
    return n >> 1 if n & 1 == 0 else -(n >> 1) - 1


def signed(n):
    n &= M64
    return n - 2**64 if n >> 63 else n


class Walk:
    def __init__(self, header, columns):
        self.h, self.c = header, columns
        self.take = {}
        self.refs, self.texts, self.last_ref, self.last_seq = {}, {}, {}, {}
        self.seen, self.next_step, self.revision, self.decimals = {}, {}, {}, {}
        self.millis = header.at
        self.lines = []

    def next(self, values):
        at = self.take.get(id(values), 0)
        self.take[id(values)] = at + 1
        return values[at]

    def run(self):
        for lane, first, count in self.h.segments:
            for seq in range(first, first + count):
                self.one(lane, seq)
        return self.lines

    def one(self, lane, seq):
        c, self.lane, self.seq = self.c, lane, seq
        shape = self.next(c.shape)
        distance = self.next(c.time_high) << 8 | self.next(c.time_low)
        self.millis += -distance if shape & 4 else distance
        counter = self.next(c.counter) if shape & 2 else 0
        self.person = None
        person = self.ref(c.person, "person")
        self.person = person
        time = datetime(1970, 1, 1, tzinfo=timezone.utc) + timedelta(milliseconds=self.millis)
        line = "change-set %s/%d at %s.%03dZ+%d" % (lane_text(lane), seq, time.strftime("%Y-%m-%dT%H:%M:%S"), self.millis % 1000, counter)
        self.lines.append(line + (" by " + ref_text(person) if person else ""))
        for _ in range(self.next(c.seen_count) if shape & 1 else 0):
            self.context()
        for index in range(shape >> 3):
            self.change(index)

    def context(self):
        c = self.c
        lane = self.next(c.seen_lane)
        acks = [(s, k) for (l, s, k) in self.h.clock if l[:3] == lane[:3]]
        start = self.seen.get(lane, acks[0][0] if acks else 0)
        seq = self.seen[lane] = start + unzigzag(self.next(c.seen_seq))
        if self.next(c.seen_form) == 1:
            check = [k for s, k in acks if s == seq][0]
        else:
            check = self.next(c.check)
        self.lines.append("  has seen %s to %d, check %08x" % (lane_text(lane), seq, check))

    def change(self, index):
        k = self.next(self.c.kind)
        columns = self.c.by_kind[k]
        if k >= 64:
            column = columns[0]
            payload = self.next(column["text"]) if self.next(column["code"]) == 1 else b""
            self.lines.append("  .%d kind %d, unknown to this program: %s" % (index, k, payload.hex()))
            return
        values, words = {}, []
        for column in columns:
            value = self.value(column, values)
            values[column["name"]] = value
            words.append(" %s=%s" % (column["name"], value_text(column["type"], value)))
        if KINDS[k][0] == "run.start":
            self.revision[(self.lane, self.seq, index)] = values["revision"]
        self.lines.append("  .%d %s%s" % (index, KINDS[k][0], "".join(words)))

    def value(self, column, before):
        name, typ = column["name"], column["type"]
        if typ == "r":
            return self.ref(column["code"], PLACES.get(name, name))
        if typ == "s":
            return self.text(column, PLACES.get(name, name))
        if typ == "b":
            self.next(column["code"])
            return self.next(column["text"])
        code = self.next(column["code"])
        if typ == "i":
            return unzigzag(code)
        if typ == "d":
            return self.decimal(column, code, before)
        if name in ("step", "step_plus_one") and "run" in before:
            step = signed(self.next_step.get(before["run"], 0) + unzigzag(code))
            if name == "step":
                self.next_step[before["run"]] = signed(step + 1)
            return step
        return code

    def decimal(self, column, code, before):
        key = (self.revision.get(before["run"]), before["step"]) if "step" in before else None
        mantissa, scale = self.decimals.get(key, (0, 0)) if key else (0, 0)
        new_scale = scale + unzigzag(self.next(column["extra"]))
        value = (signed((mantissa if new_scale == scale else 0) + unzigzag(code)), new_scale)
        if key:
            self.decimals[key] = value
        return value

    def text(self, column, slot):
        recent = self.texts.setdefault(slot, [])
        form = self.next(column["code"])
        if form == 0:
            return ""
        text = self.next(column["text"]).decode("utf-8") if form == 1 else recent[form - 3]
        if len(text.encode("utf-8")) <= 64:
            to_front(recent, text)
        return text

    def ref(self, codes, slot):
        recent = self.refs.setdefault(slot, [])
        habit = (self.person, slot)
        form = self.next(codes)
        if form == 0:
            return None
        if form == 1:
            ref = self.new_ref()
        elif form == 2:
            ref = self.last_ref[habit]
        else:
            ref = recent[form - 3]
        to_front(recent, ref)
        self.last_ref[habit] = ref
        return ref

    def new_ref(self):
        c = self.c
        form, distance, index = self.next(c.ref_form), unzigzag(self.next(c.ref_seq)), self.next(c.ref_index)
        if form == 0:
            return (self.lane, (self.seq - distance) & M64, index)
        lane = self.next(c.ref_lane)
        self.last_seq[lane] = (self.last_seq.get(lane, 0) + distance) & M64
        return (lane, self.last_seq[lane], index)


def to_front(recent, value):
    if value in recent:
        recent.remove(value)
    recent.insert(0, value)
    del recent[64:]


# Output, as `pulk bundle show` writes change-sets.

def lane_text(lane):
    site, epoch, cls, branch = lane
    return "%08x.%d.%s" % (site, epoch, CLASSES[cls]) + ("~%08x" % branch if branch else "")


def ref_text(ref):
    return "%s/%d.%d" % (lane_text(ref[0]), ref[1], ref[2])


def value_text(typ, value):
    if typ == "r":
        return ref_text(value) if value else "none"
    if typ == "s":
        return '"%s"' % re.sub(r'(["\\])', r"\\\1", value)
    if typ == "b":
        return value.hex()
    if typ == "d":
        mantissa, scale = value
        digits = str(abs(mantissa)).rjust(scale + 1, "0")
        text = digits[:len(digits) - scale] + ("." + digits[len(digits) - scale:] if scale else "")
        return ("-" if mantissa < 0 else "") + text
    return str(value)


def main(path):
    with open(path, "rb") as f:
        header = Header(f.read())
    if header.method == 0:
        packed = Bytes(header.columns)
        columns = Columns(header, packed, packed)
    elif header.method in (0x02, 0x82):
        r = Bytes(header.columns)
        packed = Modelled(r.take(r.uvarint()))
        rest = Bytes(r.data[r.at:])
        columns = Columns(header, packed, rest if header.method == 2 else packed)
    else:
        sys.exit("%s: packed by method %d, which this reader leaves out" % (path, header.method))
    sys.stdout.write("".join(line + "\n" for line in Walk(header, columns).run()))
    print("envelope   SHA-256 of the bytes before the signature: " + header.envelope)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
