"""Makes a picture of a page small: cut to a height, at most 256 colours, packed as small as zlib makes it.

    smaller_png.py FROM TO [HEIGHT]

Screens have few colours but many shades at the edges of letters; each shade takes the nearest of the 256 most frequent.
Standard library only. Reads what Chromium writes: 8 bits, colour with or without alpha, not interlaced.
"""

import struct
import sys
import zlib
from collections import Counter


def chunks(data):
    at = 8
    while at < len(data):
        (size,) = struct.unpack(">I", data[at : at + 4])
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + size]
        at += 12 + size


def rows(packed, width, height, step):
    """The rows of a picture with PNG's filters taken off."""
    before = bytearray(width * step)
    size = width * step
    for y in range(height):
        kind = packed[y * (size + 1)]
        row = bytearray(packed[y * (size + 1) + 1 : (y + 1) * (size + 1)])
        if kind == 1:
            for i in range(step, size):
                row[i] = (row[i] + row[i - step]) & 255
        elif kind == 2:
            row = bytearray((a + b) & 255 for a, b in zip(row, before))
        elif kind == 3:
            for i in range(size):
                left = row[i - step] if i >= step else 0
                row[i] = (row[i] + (left + before[i]) // 2) & 255
        elif kind == 4:
            for i in range(size):
                a = row[i - step] if i >= step else 0
                b, c = before[i], before[i - step] if i >= step else 0
                p = a + b - c
                pa, pb, pc = abs(p - a), abs(p - b), abs(p - c)
                row[i] = (row[i] + (a if pa <= pb and pa <= pc else b if pb <= pc else c)) & 255
        yield row
        before = row


def main():
    data = open(sys.argv[1], "rb").read()
    packed = b""
    for kind, body in chunks(data):
        if kind == b"IHDR":
            width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", body)
            assert depth == 8 and colour in (2, 6) and not interlaced, "a picture that Chromium did not write"
            step = 3 if colour == 2 else 4
        elif kind == b"IDAT":
            packed += body
    packed = zlib.decompress(packed)
    tall = min(height, int(sys.argv[3])) if len(sys.argv) > 3 else height
    picture = []
    for row in rows(packed, width, tall, step):
        picture.append([(row[i], row[i + 1], row[i + 2]) for i in range(0, width * step, step)])
    counts = Counter(pixel for row in picture for pixel in row)
    palette = [pixel for pixel, _ in counts.most_common(256)]
    place = {pixel: nth for nth, pixel in enumerate(palette)}
    for pixel in counts:
        if pixel not in place:
            near = lambda nth: sum((a - b) ** 2 for a, b in zip(pixel, palette[nth]))
            place[pixel] = min(range(len(palette)), key=near)
    body = b"".join(b"\0" + bytes(place[pixel] for pixel in row) for row in picture)
    out = b"\x89PNG\r\n\x1a\n"
    parts = [
        (b"IHDR", struct.pack(">IIBBBBB", width, tall, 8, 3, 0, 0, 0)),
        (b"PLTE", bytes(part for pixel in palette for part in pixel)),
        (b"IDAT", zlib.compress(body, 9)),
        (b"IEND", b""),
    ]
    for kind, part in parts:
        out += struct.pack(">I", len(part)) + kind + part + struct.pack(">I", zlib.crc32(kind + part))
    open(sys.argv[2], "wb").write(out)


main()
