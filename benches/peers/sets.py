#!/usr/bin/env python3
"""What `hoofgeo measure --no-pictures` does, with numpy, scipy and OpenCV: for every sidecar of a folder the pose of camera and ruler
by least squares with the same priors (scipy), landmarks carried to the measured plane (OpenCV), the lateral values that lines and
landmarks give, and their standard uncertainties by numerical derivatives. Prints the time per photo.

    python3 sets.py FOLDER [PHOTOS]

It does less than hoofgeo: eleven values, no second pose, no second-order terms, no check of the graduations, no header, no hashes.
"""
import json
import math
import sys
import time
from pathlib import Path

import cv2
import numpy as np
from scipy.optimize import least_squares

FOCAL = 3028.7
CLICK_U, ANATOMY_U, PLANE_U = 1.5, 1.0, np.array([5.0, math.radians(3), math.radians(3)])
IDS = ["dorsal_wall_angle", "heel_angle", "heel_toe_angle_difference", "dorsal_wall_length", "heel_length", "heel_toe_length_ratio",
       "toe_height", "heel_height", "heel_toe_height_ratio", "coronary_band_angle", "support_length"]


def rotation(tilt_x, tilt_y, roll):
    (cx, sx), (cy, sy), (cz, sz) = [(math.cos(a), math.sin(a)) for a in (tilt_x, tilt_y, roll)]
    rx = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    ry = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    rz = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return rx @ ry @ rz


def camera(x):
    f = math.exp(x[0])
    k = np.array([[f, 0, x[1]], [0, f, x[2]], [0, 0, 1]])
    distortion = np.array([x[3], x[4], x[6], x[7], x[5]])
    r = rotation(x[8], x[9], x[10])
    z = f / math.exp(x[13])
    t = np.array([(x[11] - x[1]) * z / f, (x[12] - x[2]) * z / f, z])
    return k, distortion, r, t


def measure(text):
    sidecar = json.loads(text)
    w, h = sidecar["photo"]["width_px"], sidecar["photo"]["height_px"]
    points = sidecar["scale"]["points"]
    labels = np.array([p["mm"] for p in points], float)
    seen = np.array([p["at"] for p in points], float)
    middle = labels.mean()
    along = seen[-1] - seen[0]
    scale = np.linalg.norm(along) / (labels[-1] - labels[0])
    start = np.array([math.log(FOCAL), w / 2, h / 2, 0, 0, 0, 0, 0, 0, 0, math.atan2(along[1], along[0]),
                      *seen.mean(0), math.log(scale), 0])
    prior_u = np.array([0.03, 0.01 * w, 0.01 * w, 0.02, 0.01, 1e-3, 5e-4, 5e-4, math.radians(5), math.radians(5),
                        1e3, 1e6, 1e6, 1e3, 3e-4])

    def residuals(x):
        k, distortion, r, t = camera(x)
        world = np.zeros((len(labels), 3))
        world[:, 0] = (labels - middle) * (1 + x[14])
        projected, _ = cv2.projectPoints(world, cv2.Rodrigues(r)[0], t, k, distortion)
        return np.concatenate([(projected[:, 0] - seen).ravel(), (x - start) / prior_u])

    fit = least_squares(residuals, start, method="lm", x_scale=np.minimum(prior_u, 1.0))
    covariance = np.linalg.inv(fit.jac.T @ fit.jac)

    marks = {name: np.mean(np.atleast_2d(m["at"]), 0) for name, m in sidecar["landmarks"].items()}
    names = [n for n in ("toe_coronet", "toe_ground", "heel_coronet", "heel_ground", "ground_front", "ground_back") if n in marks]
    pixels = np.array([marks[n] for n in names])

    def values(v):
        x, plane, px, moved = v[:15], v[15:18], v[18:18 + pixels.size], v[18 + pixels.size:]
        k, distortion, r, t = camera(x)
        rays = cv2.undistortPoints(px.reshape(-1, 1, 2), k, distortion)[:, 0]
        # The measured plane in the ruler's frame: behind it by plane[0], tilted by the others.
        tilted = r @ rotation(plane[1], plane[2], 0)
        origin = t + r @ np.array([0, 0, plane[0]])
        directions = np.column_stack([rays, np.ones(len(rays))])
        depth = (tilted[:, 2] @ origin) / (directions @ tilted[:, 2])
        place = ((directions * depth[:, None] - origin) @ tilted)[:, :2] + moved.reshape(-1, 2)
        at = dict(zip(names, place))
        toe, heel = at["toe_coronet"] - at["toe_ground"], at["heel_coronet"] - at["heel_ground"]
        ground = (at["ground_back"] - at["ground_front"]) if "ground_back" in at else at["heel_ground"] - at["toe_ground"]
        base = at.get("ground_front", at["toe_ground"])
        cross = lambda a, b: a[0] * b[1] - a[1] * b[0]
        angle = lambda a, b: math.degrees(abs(math.atan2(cross(a, b), a @ b)))
        height = lambda p: abs(cross(ground, p - base)) / np.linalg.norm(ground)
        length = np.linalg.norm
        a, b = angle(ground, toe), angle(ground, heel)
        coronet = at["heel_coronet"] - at["toe_coronet"]
        return np.array([a, b, a - b, length(toe), length(heel), length(heel) / length(toe), height(at["toe_coronet"]),
                         height(at["heel_coronet"]), height(at["heel_coronet"]) / height(at["toe_coronet"]),
                         angle(ground, coronet), abs((at["heel_ground"] - at["toe_ground"]) @ ground) / length(ground)])

    v = np.concatenate([fit.x, np.zeros(3), pixels.ravel(), np.zeros(pixels.size)])
    step = np.concatenate([np.maximum(np.sqrt(np.diag(covariance)), 1e-9) * 1e-3, PLANE_U * 1e-3, np.full(2 * pixels.size, 1e-3)])
    value = values(v)
    jacobian = np.empty((len(value), len(v)))
    for i in range(len(v)):
        up, down = v.copy(), v.copy()
        up[i] += step[i]
        down[i] -= step[i]
        jacobian[:, i] = (values(up) - values(down)) / (2 * step[i])
    variance = np.einsum("ij,jk,ik->i", jacobian[:, :15], covariance, jacobian[:, :15])
    other = np.concatenate([PLANE_U, np.full(pixels.size, CLICK_U), np.full(pixels.size, ANATOMY_U)])
    variance += ((jacobian[:, 15:] * other) ** 2).sum(1)
    return value, np.sqrt(variance)


def main():
    photos = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    cv2.setNumThreads(1)
    files = sorted(Path(sys.argv[1]).rglob("*.jpg.hoof.json"))[:photos]
    begun = time.perf_counter()
    first = None
    for file in files:
        value, u = measure(file.read_text())
        first = first or (value.copy(), u)
    seconds = time.perf_counter() - begun
    for name, value, u in zip(IDS, *first):
        print(f"  {name:<28}{value:10.3f}{u:9.3f}")
    print(f"numpy {np.__version__}, OpenCV {cv2.__version__}, one thread: {len(files)} sidecars in {seconds:.1f} s, "
          f"{len(files) / seconds:.1f} a second")


main()
