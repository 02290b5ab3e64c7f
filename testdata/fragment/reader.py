#!/usr/bin/env python3
"""Joins the golden fragments and reads the golden requests.

Written from docs/fragment-format.md alone, to show that the document suffices. It
shares no code with pulk.

    python3 reader.py
"""
import hashlib
import itertools
import os
import random

HERE = os.path.dirname(os.path.abspath(__file__))
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def uvarint(data, at):
    value = shift = 0
    while True:
        b = data[at]
        value |= (b & 127) << shift
        at, shift = at + 1, shift + 7
        if b < 128:
            return value, at


def sha(data):
    return hashlib.sha256(data).digest()


def fragment(data):
    assert data[:2] == b"\xb5f" and data[2] in (0x10, 0x11, 0x12), "magic, form"
    assert sha(data[:-3])[:3] == data[-3:], "check"
    name, at, parity = data[3:7], 7, 0
    k, at = uvarint(data, at)
    k += 1
    if data[2] != 0x10:
        parity, at = uvarint(data, at)
        parity += 1
    assert (data[2] == 0x12) == (parity > 0 and k + parity > 256), "form"
    place, at = uvarint(data, at)
    pad, at = uvarint(data, at)
    body = data[at:-3]
    size = len(body) + (pad if place == k - 1 else 0)
    return (name, k, parity, size, k * size - pad), place, body


# GF(2^8) with the polynomial x^8 + x^4 + x^3 + x^2 + 1
EXP, LOG = [0] * 512, [0] * 256
x = 1
for i in range(255):
    EXP[i] = EXP[i + 255] = x
    LOG[x] = i
    x = x << 1 ^ (0x11D if x & 128 else 0)


def mul(a, b):
    return EXP[LOG[a] + LOG[b]] if a and b else 0


def power(a, n):
    return 1 if n == 0 else EXP[LOG[a] * n % 255] if a else 0


def product(a, b):
    out = []
    for row in a:
        line = []
        for j in range(len(b[0])):
            v = 0
            for p, q in zip(row, b):
                v ^= mul(p, q[j])
            line.append(v)
        out.append(line)
    return out


def inverse(m):
    n = len(m)
    m = [list(row) + [int(i == j) for j in range(n)] for i, row in enumerate(m)]
    for i in range(n):
        pivot = next(r for r in range(i, n) if m[r][i])
        m[i], m[pivot] = m[pivot], m[i]
        scale = EXP[255 - LOG[m[i][i]]]
        m[i] = [mul(scale, v) for v in m[i]]
        for r in range(n):
            if r != i and m[r][i]:
                f = m[r][i]
                m[r] = [v ^ mul(f, w) for v, w in zip(m[r], m[i])]
    return [row[n:] for row in m]


def coding(k, total):
    rows = [[power(r, c) for c in range(k)] for r in range(total)]
    return product(rows, inverse(rows[:k]))


def join(cut, bodies):
    name, k, parity, size, length = cut
    places = sorted(bodies)[:k]
    matrix = coding(k, k + parity)
    rows = [list(bodies[p].ljust(size, b"\0")) for p in places]
    data = product(inverse([matrix[p] for p in places]), rows)
    parcel = b"".join(bytes(row) for row in data)[:length]
    assert sha(parcel)[:4] == name, "the fragments do not make the parcel"
    return parcel


# GF(2^16): a + b y as a | b << 8, with y^2 = y + 20 (hex)
def wide(p, q):
    a, b, c, d = p & 255, p >> 8, q & 255, q >> 8
    bd = mul(b, d)
    return mul(a, c) ^ mul(bd, 0x20) | (mul(a, d) ^ mul(b, c) ^ bd) << 8


def divided(p, q):
    """p / q, as p times q to the power 2^16 - 2."""
    for i in range(15):
        q = wide(q, q)
        p = wide(p, q)
    return p


def elements(body):
    half = len(body) // 2
    return [a | b << 8 for a, b in zip(body[:half], body[half:])]


def bytes_of(elements):
    return bytes(e & 255 for e in elements) + bytes(e >> 8 for e in elements)


def polynomial(bodies):
    """Newton's divided differences of the bodies at the places 0, 1, 2 ..."""
    rows = [elements(body) for body in bodies]
    for step in range(1, len(rows)):
        for i in range(len(rows) - 1, step - 1, -1):
            f = divided(1, i ^ (i - step))
            rows[i] = [wide(f, v ^ w) for v, w in zip(rows[i], rows[i - 1])]
    return rows


def value(rows, place):
    out = [0] * len(rows[0])
    for i in range(len(rows) - 1, -1, -1):
        out = [wide(place ^ i, v) ^ w for v, w in zip(out, rows[i])]
    return bytes_of(out)


def number(n):
    out = bytearray()
    while n > 127:
        out.append(n & 127 | 128)
        n >>= 7
    out.append(n)
    return bytes(out)


def all_fragments(parcel, k, m, size):
    """The fragments of a parcel with parity, made anew."""
    pad = k * size - len(parcel)
    rows = [parcel[i * size:(i + 1) * size].ljust(size, b"\0") for i in range(k)]
    if k + m <= 256:
        for factors in coding(k, k + m)[k:]:
            sums = [0] * size
            for factor, source in zip(factors, rows):
                sums = [a ^ mul(factor, b) for a, b in zip(sums, source)]
            rows.append(bytes(sums))
        form = b"\x11"
    else:
        assert size % 2 == 0
        through = polynomial(rows)
        rows += [value(through, place) for place in range(k, k + m)]
        form = b"\x12"
    for place, body in enumerate(rows):
        if place == k - 1:
            body = body[:size - pad]
        head = b"\xb5f" + form + sha(parcel)[:4] + number(k - 1) + number(m - 1) + number(place) + number(pad) + body
        yield head + sha(head)[:3]


def bits(data):
    return [b >> (7 - i) & 1 for b in data for i in range(8)]


def gamma(stream):
    zeros = 0
    while next(stream) == 0:
        zeros += 1
    value = 1
    for _ in range(zeros):
        value = value << 1 | next(stream)
    return value


def take(stream, n):
    value = 0
    for _ in range(n):
        value = value << 1 | next(stream)
    return value


def places(method, data, total):
    if method == 0:
        return list(range(total))
    if method == 3:
        return [i for i, b in enumerate(bits(data)) if b]
    found, stream, at = [], iter(bits(data)), -1
    try:
        if method == 1:
            while True:
                there, gone = gamma(stream), gamma(stream)
                at += there
                found += range(at, at + gone)
                at += gone
        r = take(stream, 4)
        while True:
            high = 0
            while next(stream):
                high += 1
            at += 1 + (high << r | take(stream, r))
            found.append(at)
    except (StopIteration, RuntimeError):
        return found


def request(data):
    assert data[:2] == b"\xb5r" and data[2] >> 4 == 1 and sha(data[:-2])[:2] == data[-2:]
    k, at = uvarint(data, 7)
    parity, at = uvarint(data, at)
    return places(data[2] & 7, data[at:-2], k + 1 + parity)


def code(text):
    n = text.replace("-", "")
    value = 0
    for c in n:
        value = value << 5 | ALPHABET.index(c)
    size = len(n) * 5 // 8
    return b"\xb5r" + (value >> (len(n) * 5 - size * 8)).to_bytes(size, "big")


def main():
    with open(os.path.join(HERE, "vectors.txt"), encoding="ascii") as f:
        vectors = dict(line.rstrip("\n").split(" ", 1) for line in f)
    with open(os.path.join(HERE, "..", "bundle", "check_off.bundle"), "rb") as f:
        parcel = f.read()
    for way in ("plain", "parity"):
        cuts, bodies = set(), {}
        for n in itertools.count():
            if "%s.%d" % (way, n) not in vectors:
                break
            cut, place, body = fragment(bytes.fromhex(vectors["%s.%d" % (way, n)]))
            cuts.add(cut)
            bodies[place] = body
        assert len(cuts) == 1
        cut = cuts.pop()
        some = list(itertools.combinations(bodies, cut[1]))
        random.Random(1).shuffle(some)
        for chosen in some[:200]:
            assert join(cut, {p: bodies[p] for p in chosen}) == parcel, (way, chosen)
        print(way, "%d of %d, %d ways" % (cut[1], len(bodies), len(some[:200])))
    large = b"".join(sha(b"pulk vector " + n.to_bytes(4, "big")) for n in range(1250))
    for way, parcel in (("middle", large[:6000]), ("large", large)):
        fields = vectors[way + ".cut"].split()
        k, m, size = int(fields[3]), int(fields[5]), int(fields[7])
        made = b"".join(all_fragments(parcel, k, m, size))
        assert sha(made).hex() == vectors[way + ".sha256"], way
        print(way, "%d + %d" % (k, m))
    for name in ("all", "runs", "gaps", "bits"):
        data = bytes.fromhex(vectors["request." + name])
        want = [int(n) for n in vectors["request.%s.places" % name].split()]
        assert request(data) == want, name
        assert code(vectors["request.%s.code" % name]) == data, name
    print("all as they should be")


main()
