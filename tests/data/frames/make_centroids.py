#!/usr/bin/env python3
"""Centroids of the frames beside this file, by scipy.ndimage.

    python make_centroids.py            write centroids.csv
    python make_centroids.py --check    compare with the committed file

The background of a frame is the plane through its dark pixels, by least squares; a spot is what is connected, corners included,
above background plus 1/64 of full scale. Each spot has two centroids:

    column_px, row_px    of the heights above background, over the spot and 3 pixels around it: the textbook's centroid
    above_column_px, above_row_px    of the heights above the threshold, over the spot alone: the finder's own weights

README.md beside this file says where the frames come from.
"""

import argparse
import csv
import sys
from pathlib import Path

import numpy as np
from scipy import ndimage

HERE = Path(__file__).resolve().parent
CORNERS_TOO = np.ones((3, 3), dtype=bool)
LEAST_AREA = 9  # pixels; smaller is dust
AROUND = 3  # pixels
COLUMNS = ["frame", "column_px", "row_px", "above_column_px", "above_row_px", "area_px", "peak", "is_whole"]


def read_pgm(path):
    """Levels and the greatest level of a binary PGM without comments."""
    data = path.read_bytes()
    magic, width, height, full = data.split(maxsplit=4)[:4]
    assert magic == b"P5", path
    width, height, full = int(width), int(height), int(full)
    kind = np.dtype("u1") if full < 256 else np.dtype(">u2")
    raster = data[len(data) - width * height * kind.itemsize :]
    return np.frombuffer(raster, dtype=kind).reshape(height, width).astype(float), full


def background(frame, full):
    """The plane through the pixels that are not bright: fitted, and fitted again without what lies above it."""
    row, column = np.indices(frame.shape)
    design = np.column_stack([np.ones(frame.size), column.ravel(), row.ravel()])
    # Spots and their skirts are kept out.
    dark = frame < np.median(frame) + full / 64
    for _ in range(5):
        dark = ~ndimage.binary_dilation(~dark, iterations=AROUND + 1)
        plane = np.linalg.lstsq(design[dark.ravel()], frame.ravel()[dark.ravel()], rcond=None)[0]
        dark = frame - (design @ plane).reshape(frame.shape) < full // 64
    return (design @ plane).reshape(frame.shape)


def spots(path):
    frame, full = read_pgm(path)
    above_ground = frame - background(frame, full)
    threshold = full // 64
    labels, count = ndimage.label(above_ground > threshold, structure=CORNERS_TOO)
    for label in range(1, count + 1):
        spot = labels == label
        area = int(spot.sum())
        if area < LEAST_AREA:
            continue
        around = ndimage.binary_dilation(spot, iterations=AROUND)
        row, column = ndimage.center_of_mass(np.where(around, above_ground, 0))
        above_row, above_column = ndimage.center_of_mass(np.where(spot, above_ground - threshold, 0))
        peak = int(ndimage.maximum(frame, labels, label))
        rows, columns = np.nonzero(spot)
        last_row, last_column = (size - 1 for size in frame.shape)
        whole = rows.min() > 0 and columns.min() > 0 and rows.max() < last_row and columns.max() < last_column
        places = [f"{v:.5f}" for v in (column, row, above_column, above_row)]
        yield [path.stem, *places, str(area), str(peak), str(int(whole))]


def main():
    parser = argparse.ArgumentParser(description="Centroids of the committed frames by scipy.")
    parser.add_argument("--check", action="store_true", help="compare with centroids.csv instead of writing it")
    check = parser.parse_args().check
    rows = [row for path in sorted(HERE.glob("*.pgm")) for row in spots(path)]
    out = HERE / "centroids.csv"
    if not check:
        with out.open("w", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows([COLUMNS, *rows])
        return 0
    with out.open(newline="") as file:
        committed = list(csv.reader(file))
    same = committed == [COLUMNS, *rows]
    print("ok" if same else "FAILED: centroids.csv is not what this script makes")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
