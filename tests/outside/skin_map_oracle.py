"""COUNT random stomas, plates and marked cells with the shares that shapely measures: one JSON line each.

    python skin_map_oracle.py [COUNT [SEED]]

The Rust test `skin_map_agrees_with_shapely` reads the lines. Nothing is shared with the program under test: shapely
cuts polygons, and the distance along a ray comes from other formulas (the ellipse by its eccentric angle, the plate by
the law of sines in the triangle of stoma centre, plate centre and edge). Every case checks itself: the rings of a
sector of its first cell, laid together, must be the wedge of the plate less the stoma that shapely cuts on its own.

A case whose stoma does not lie wholly inside the plate has `"refused": true` and no shares, and is not counted. Cases
in which the two edges come nearer than 0.2 mm, or less than 0.2 mm2 of the stoma lies outside, are not printed:
polygons of many short sides cannot decide them.
"""

import json
import math
import random
import sys

import shapely
from shapely import Point, Polygon
from shapely.affinity import scale, translate

RAYS_PER_SECTOR = 96
QUARTER_SEGMENTS = 512
LEAST_GAP_MM = 0.2
FINDINGS = {"discoloured": ["discolouration"], "eroded": ["discolouration", "erosion"],
            "overgrown": ["discolouration", "overgrowth"]}


def stoma_edge(angle, a, b):
    """Distance of the ellipse along a clock angle (0 = head, clockwise), by the eccentric angle."""
    eccentric = math.atan2(math.sin(angle) * b, math.cos(angle) * a)
    return math.hypot(a * math.sin(eccentric), b * math.cos(eccentric))


def plate_edge(angle, radius, x, y):
    """Distance of the plate's edge from the stoma's centre along a clock angle, by the law of sines."""
    apart = math.hypot(x, y)
    if apart == 0:
        return radius
    at_stoma = angle - math.atan2(x, y)
    at_edge = math.asin(apart * math.sin(at_stoma) / radius)
    at_plate = math.pi - at_stoma - at_edge
    return math.sqrt(apart**2 + radius**2 - 2 * apart * radius * math.cos(at_plate))


def point(angle, distance):
    return (distance * math.sin(angle), distance * math.cos(angle))


def cell_polygon(case, hour, ring):
    stoma, plate, rings = case["stoma"], case["plate"], case["rings"]
    a, b = stoma["width_mm"] / 2, stoma["height_mm"] / 2
    inner, outer = [], []
    for step in range(RAYS_PER_SECTOR + 1):
        angle = math.radians(30 * hour - 15 + 30 * step / RAYS_PER_SECTOR)
        near = stoma_edge(angle, a, b)
        far = plate_edge(angle, plate["diameter_mm"] / 2, plate["offset_x_mm"], plate["offset_y_mm"])
        inner.append(point(angle, near + (far - near) * (ring - 1) / rings))
        outer.append(point(angle, near + (far - near) * ring / rings))
    return Polygon(outer + inner[::-1])


def check_sector(case, hour, skin, plate):
    """The rings of a sector together are the wedge of the skin, but for slivers between arc and chord."""
    rings = shapely.union_all([cell_polygon(case, hour, ring + 1) for ring in range(case["rings"])], grid_size=1e-9)
    from_angle, to_angle = math.radians(30 * hour - 15), math.radians(30 * hour + 15)
    far = 4 * case["plate"]["diameter_mm"]
    wedge = Polygon([(0, 0), point(from_angle, far), point(to_angle, far)])
    missed = wedge.intersection(skin).symmetric_difference(rings).area / plate.area
    if missed > 5e-6:
        raise SystemExit(f"the oracle disagrees with itself by {missed:.2e} of the plate: {case} hour {hour}")


def random_case(rng):
    def length(low, high):
        return round(rng.uniform(low, high), rng.choice([0, 1]))

    plate = {"diameter_mm": length(50, 130)}
    if rng.random() < 0.7:
        plate["offset_x_mm"], plate["offset_y_mm"] = length(-25, 25), length(-25, 25)
    width = length(8, 60)
    height = width if rng.random() < 0.3 else length(8, 60)
    rings = rng.choice([1, 2, 3, 3, 3, 3, 4, 5, 10])
    cells = [
        {"hour": rng.randint(1, 12), "ring": rng.randint(1, rings), "finding": rng.choice(list(FINDINGS))}
        for _ in range(rng.randint(0, 14))
    ]
    # Some cells twice, with the same or another finding: each counts once in a domain.
    for cell in list(cells):
        if rng.random() < 0.2:
            cells.append({**cell, "finding": rng.choice(list(FINDINGS))})
    return {"stoma": {"width_mm": width, "height_mm": height}, "plate": plate, "rings": rings, "cells": cells}


def measure(given):
    """The case with shapely's answer; None where the edges nearly touch."""
    case = {**given, "plate": {"offset_x_mm": 0, "offset_y_mm": 0, **given["plate"]}}
    plate = translate(Point(0, 0).buffer(case["plate"]["diameter_mm"] / 2, quad_segs=QUARTER_SEGMENTS),
                      case["plate"]["offset_x_mm"], case["plate"]["offset_y_mm"])
    stoma = scale(Point(0, 0).buffer(1, quad_segs=QUARTER_SEGMENTS),
                  case["stoma"]["width_mm"] / 2, case["stoma"]["height_mm"] / 2, origin=(0, 0))
    inside = plate.contains(stoma)
    nearest = plate.exterior.distance(stoma) if inside else stoma.difference(plate).area
    if nearest < LEAST_GAP_MM:
        return None
    if not inside:
        return {"input": given, "refused": True}
    skin = plate.difference(stoma)
    marked = {"discolouration": set(), "erosion": set(), "overgrowth": set()}
    for cell in case["cells"]:
        for domain in FINDINGS[cell["finding"]]:
            marked[domain].add((cell["hour"], cell["ring"]))
    for hour in {cell["hour"] for cell in case["cells"][:1]}:
        check_sector(case, hour, skin, plate)
    # Cells of one map never overlap, so their areas add up.
    shares = {domain: 100 * math.fsum(cell_polygon(case, *cell).area for cell in sorted(cells)) / skin.area
              for domain, cells in marked.items()}
    return {"input": given, "skin_mm2": skin.area, "area_percent": shares}


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 20261125)
    printed = 0
    while printed < count:
        answer = measure(random_case(rng))
        if answer is not None:
            print(json.dumps(answer))
            printed += "refused" not in answer


if __name__ == "__main__":
    main()
