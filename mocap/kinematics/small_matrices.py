"""Arithmetic of many 3 by 3 matrices and vectors at once, components first: shapes (3, 3, ...) and (3, ...)."""

from __future__ import annotations

import numpy as np

from mocap.capture import FloatArray


def apply(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Matrices (3, 3, ...) times vectors (3, ...)."""
    product: FloatArray = matrix[:, 0] * vector[0] + matrix[:, 1] * vector[1] + matrix[:, 2] * vector[2]
    return product


def apply_transposed(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Transposed matrices (3, 3, ...) times vectors (3, ...)."""
    product: FloatArray = matrix[0] * vector[0] + matrix[1] * vector[1] + matrix[2] * vector[2]
    return product


def times(first: FloatArray, second: FloatArray) -> FloatArray:
    """Products of matrices (3, 3, ...)."""
    return first[:, 0, None] * second[0] + first[:, 1, None] * second[1] + first[:, 2, None] * second[2]


def transposed_times(first: FloatArray, second: FloatArray) -> FloatArray:
    """Products of transposed matrices (3, 3, ...) with matrices."""
    return first[0][:, None] * second[0] + first[1][:, None] * second[1] + first[2][:, None] * second[2]


def cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Cross products of vectors (3, ...)."""
    (a, b, c), (d, e, f) = first, second
    return np.stack([b * f - c * e, c * d - a * f, a * e - b * d])


def skew(vector: FloatArray) -> FloatArray:
    """Matrices (3, 3, ...) of the cross product with vectors (3, ...)."""
    x, y, z = vector
    zero = np.zeros_like(x)
    return np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]])


def inverted(matrix: FloatArray) -> FloatArray:
    """Inverses of symmetric matrices (3, 3, ...), by cofactors."""
    (a, b, c), (_, d, e), (_, _, f) = matrix
    aa, bb, cc = d * f - e * e, c * e - b * f, b * e - c * d
    scale = 1.0 / (a * aa + b * bb + c * cc)
    aa, bb, cc = aa * scale, bb * scale, cc * scale
    dd, ee, ff = (a * f - c * c) * scale, (b * c - a * e) * scale, (a * d - b * b) * scale
    return np.array([[aa, bb, cc], [bb, dd, ee], [cc, ee, ff]])


def small_rotation(vector: FloatArray) -> FloatArray:
    """Rotation matrices (3, 3, ...) near those of small rotation vectors (3, ...), to the second order.

    Cayley's map: an exact rotation about the vector, by twice the arctangent of half its length.
    """
    half = 0.5 * vector
    share = 2.0 / (1.0 + np.sum(half * half, axis=0))
    x, y, z = half
    rotation = np.empty((3, *vector.shape))
    for axis, squared in enumerate((y * y + z * z, x * x + z * z, x * x + y * y)):
        rotation[axis, axis] = 1.0 - share * squared
    for (i, j), product, turn in (((0, 1), x * y, z), ((0, 2), x * z, -y), ((1, 2), y * z, x)):
        rotation[i, j] = share * (product - turn)
        rotation[j, i] = share * (product + turn)
    return rotation
