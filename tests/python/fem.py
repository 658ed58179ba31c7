"""Partials of a stepped stiff string by finite elements: knows nothing of becket, shares no formula with it.

E·I·y'''' − T·y'' = μ(x)·ω²·y, y = y'' = 0 at both ends, μ constant in each segment. Cubic Hermite beam elements with
consistent mass and geometric stiffness: J. S. Przemieniecki, Theory of Matrix Structural Analysis (1968), chapters 11
and 15 (from memory). The eigenvalues come from scipy's sparse solver.
"""

import math

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import eigsh

# The shape near an end or a step bends over the length √(E·I/T): so many elements to it there, growing away by this
# factor, and nowhere fewer than so many to a half wave of the highest partial.
ELEMENTS_PER_BEND = 8
GROWTH = 1.15
ELEMENTS_PER_HALF_WAVE = 24


def partials_hz(tension_n, ei_n_m2, segments, count):
    """The first `count` partials in Hz of `segments` = [(length_m, density_kg_m)]; within 0.001 cent for 16."""
    segments = [(length, density) for length, density in segments if length > 0]
    whole = sum(length for length, _ in segments)
    finest = math.sqrt(ei_n_m2 / tension_n) / ELEMENTS_PER_BEND
    coarsest = whole / (count * ELEMENTS_PER_HALF_WAVE)
    sizes, densities = [], []
    for length, density in segments:
        mesh = _graded(length, finest, coarsest)
        sizes.extend(mesh)
        densities.extend([density] * len(mesh))
    stiffness, mass = _assemble(np.array(sizes), np.array(densities), tension_n, ei_n_m2)
    squares = eigsh(stiffness, k=count, M=mass, sigma=0.0, which="LM", return_eigenvectors=False)
    return [math.sqrt(square) / (2 * math.pi) for square in sorted(squares)]


def _graded(length, finest, coarsest):
    """Sizes that add up to `length`, fine at both ends."""
    half, size = [], finest
    while sum(half) + size < length / 2:
        half.append(size)
        size = min(size * GROWTH, coarsest)
    half.append(size)
    stretch = length / 2 / sum(half)
    return [size * stretch for size in half + half[::-1]]


def _assemble(sizes, densities, tension_n, ei_n_m2):
    """Stiffness and mass of the free displacements, rotations times a length so that all have one unit."""
    unit = sizes.min()
    size = sizes / unit

    def element(entries):
        """Matrices of all elements from the upper triangle in powers of the size: (factor, power) by row."""
        full = np.zeros((len(size), 4, 4))
        for (row, column), (factor, power) in entries.items():
            full[:, row, column] = full[:, column, row] = factor * size**float(power)
        return full

    bending = element(
        {
            (0, 0): (12, -3), (0, 1): (6, -2), (0, 2): (-12, -3), (0, 3): (6, -2),
            (1, 1): (4, -1), (1, 2): (-6, -2), (1, 3): (2, -1),
            (2, 2): (12, -3), (2, 3): (-6, -2), (3, 3): (4, -1),
        }
    )  # fmt: skip
    geometric = element(
        {
            (0, 0): (36, -1), (0, 1): (3, 0), (0, 2): (-36, -1), (0, 3): (3, 0),
            (1, 1): (4, 1), (1, 2): (-3, 0), (1, 3): (-1, 1),
            (2, 2): (36, -1), (2, 3): (-3, 0), (3, 3): (4, 1),
        }
    )  # fmt: skip
    inertia = element(
        {
            (0, 0): (156, 1), (0, 1): (22, 2), (0, 2): (54, 1), (0, 3): (-13, 2),
            (1, 1): (4, 3), (1, 2): (13, 2), (1, 3): (-3, 3),
            (2, 2): (156, 1), (2, 3): (-22, 2), (3, 3): (4, 3),
        }
    )  # fmt: skip
    stiffness = bending * (ei_n_m2 / unit**3) + geometric * (tension_n / (30 * unit))
    mass = inertia * (densities * unit / 420)[:, None, None]

    first = 2 * np.arange(len(size))[:, None, None] + np.arange(4)[None, :, None]
    rows = np.broadcast_to(first, (len(size), 4, 4)).ravel()
    columns = np.broadcast_to(first.transpose(0, 2, 1), (len(size), 4, 4)).ravel()
    order = 2 * len(size) + 2
    free = [index for index in range(order) if index not in (0, order - 2)]

    def gathered(elements):
        whole = sparse.coo_matrix((elements.ravel(), (rows, columns)), shape=(order, order)).tocsc()
        return whole[free, :][:, free]

    return gathered(stiffness), gathered(mass)
