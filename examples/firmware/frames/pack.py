#!/usr/bin/env python3
"""Packs noise-free frames for flash: see README.md.

    cargo run --release --example render -- --quiet --lens "-2.25 -1.50 x 035" --out DIR
    ./pack.py DIR
"""

import sys
from pathlib import Path


def pixels(path):
    magic, size, full, raster = path.read_bytes().split(b"\n", 3)
    width, height = map(int, size.split())
    assert magic == b"P5" and full == b"255" and len(raster) == width * height, path
    return raster


def packed(raster):
    """The ground's level; then, until the frame is full, how many pixels of ground, how many others, and those."""
    ground = max(set(raster), key=raster.count)
    out = bytearray([ground])
    at = 0
    while at < len(raster):
        dark = at
        while at < len(raster) and raster[at] == ground and at - dark < 255:
            at += 1
        lit = at
        while at < len(raster) and raster[at] != ground and at - lit < 255:
            at += 1
        out += bytes([lit - dark, at - lit]) + raster[lit:at]
    return bytes(out)


for name in ["lens", "empty"]:
    raster = pixels(Path(sys.argv[1]) / f"{name}.pgm")
    (Path(__file__).parent / f"{name}.packed").write_bytes(packed(raster))
