"""Even noise of several grain sizes, made once and cut to size where it is wanted."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

TILE = 512
GRAINS = (0.7, 1.5, 3.0, 6.0, 12.0, 24.0, 48.0)  # standard deviation of the blur, in pixels


@lru_cache
def _tile(grain: float) -> NDArray[np.float32]:
    """Draw one tile of blurred white noise that meets itself at its edges; mean 0, deviation 1."""
    rng = np.random.default_rng([7411, round(grain * 10)])
    if not grain:
        return rng.uniform(127.0, 128.0, (TILE, TILE)).astype(np.float32)
    frequency = np.fft.fftfreq(TILE)
    blur = np.exp(-2 * (np.pi * grain) ** 2 * (frequency[:, None] ** 2 + frequency[None, :] ** 2))
    blur[0, 0] = 0
    field = np.fft.ifft2(np.fft.fft2(rng.standard_normal((TILE, TILE))) * blur).real
    return (field / field.std()).astype(np.float32)


@lru_cache(maxsize=32)
def _tiled(grain: float, repeats: int) -> NDArray[np.float32]:
    return np.tile(_tile(grain), (repeats, repeats))


def noise(shape: tuple[int, int], grain_px: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Cut a field of noise (mean 0, deviation 1) of about the grain asked for.

    A grain of 0 gives even steps around 127.5 that hide the rounding of slopes.

    The answer is a view of a shared array and must not be written to.
    """
    grain = min(GRAINS, key=lambda g: abs(np.log(g / grain_px))) if grain_px else 0.0
    row, column = (int(offset) for offset in rng.integers(0, TILE, size=2))
    repeats = 1 + -(-max(shape) // TILE)
    return _tiled(grain, repeats)[row : row + shape[0], column : column + shape[1]]
