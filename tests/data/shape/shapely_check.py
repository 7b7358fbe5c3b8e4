"""Writes shapely.csv: outlines of our own invention, measured and offset by shapely on 40 000 corners.

    pip install shapely numpy && python shapely_check.py > shapely.csv

Each row: the outline's mean radius, cosines and sines of its harmonics 1 to 5 (mm), the offset, then box
(least x, least y, most x, most y), length, area; length and area of the outline offset by shapely's buffer.
"""
import numpy as np
from shapely.geometry import Polygon

SHAPES = {
    "oval": (24, [0, 3, 0, 0.2, 0], [0, 0, 0, 0, 0]),
    "rounded rectangle": (24, [0, 2.2, 0, -0.6, 0], [0, 0, 0, 0, 0]),
    "drop": (25, [0.8, 2, 0.5, -0.2, 0.05], [-1.2, -1.5, 0.3, 0.2, 0]),
    "hollow": (22, [0, 5.5, 0, 0, 0], [0, 0, 0, 0, 0]),
}
angle = np.arange(40_000) * 2 * np.pi / 40_000
print("name,mean," + ",".join(f"{part}{k}" for part in "cs" for k in range(1, 6))
      + ",offset,left,bottom,right,top,length,area,offset_length,offset_area")
for name, (mean, cosines, sines) in SHAPES.items():
    radius = mean + sum(c * np.cos(k * angle) + s * np.sin(k * angle)
                        for k, (c, s) in enumerate(zip(cosines, sines), 1))
    outline = Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    for offset in (-1.5, 0.75):
        moved = outline.buffer(offset, quad_segs=512)
        figures = [*outline.bounds, outline.length, outline.area, moved.length, moved.area]
        print(",".join([name, *map(str, [mean, *cosines, *sines, offset]), *(f"{f:.6f}" for f in figures)]))
