"""Floor of a spectrum trace: the middle level of its noise as a function of frequency, through slopes and steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_LEAST, _MOST = 20, 40  # points in a block, blocks in a trace
_WIDE = 8.0  # resolution bandwidths that a block has at least: a line of 60 dB is 4.5 of them wide
_KNOTS = (1, 2, 3, 5)  # of lines in pieces, tried from the simplest on
_DOUBT = 1e-3  # chance that a floor is taken for a more bent one
_SMOOTH = 0.1  # turns a point below which a trace is no noise anywhere; noise has 2/3, of a narrow filter fewer
_COARSE, _FEW_TURNS = 16, 3  # parts of a trace that are looked at for slopes of lines, turns that noise has in one
_LEVEL_DB = 0.05  # scatter of the blocks that is never taken for a bent floor


@dataclass(frozen=True, eq=False)
class Floor:
    """Middle level of the noise.

    Attributes
    ----------
    middle : ndarray, (n_point,)
        [dBm]
    noisy : ndarray of bool, (n_point,)
        Where it is noise that is seen: elsewhere the slopes of lines are wider than a block.
    level : bool
        One level holds throughout.
    scatter_db : float
        Its standard error, as a root mean square.
    alike : float
        Points that stand for one independent one: neighbours in a filter narrower than a step are alike.
    """

    middle: np.ndarray
    noisy: np.ndarray
    level: bool
    scatter_db: float
    alike: float


@dataclass(frozen=True, eq=False)
class _Blocks:
    """Blocks of points one after the other: edges, (n + 1,), and medians, those that are used, error of one."""

    level: np.ndarray
    edges: np.ndarray
    median: np.ndarray
    used: np.ndarray
    error_db: float

    @property
    def middle(self) -> np.ndarray:
        return (self.edges[:-1] + self.edges[1:] - 1) / 2


def floor_of(level: np.ndarray, kept: np.ndarray, width: float = 0.0) -> Floor:
    """The floor through the points that are kept.

    Medians of blocks of points are fitted by a level, then by a straight line, then by lines in 2 and in 4 pieces: the
    first is taken that their scatter does not contradict, and that a later one betters by chance only (chi-square).
    Where none will do the trace is cut at its largest step, and each part is fitted alone; beside a step the higher
    part holds.

    Parameters
    ----------
    level : ndarray, (n_point,)
        [dBm]
    kept : ndarray of bool, (n_point,)
        Points that are no line.
    width : float
        Resolution bandwidth in points.
    """
    smooth = _smooth(level)
    count = int(np.clip(len(level) // max(_LEAST, _WIDE * width), 1, _MOST))
    edges = np.linspace(0, len(level), count + 1).astype(int)
    blocks, alike = _blocks(level, kept, smooth, edges)
    fewer = int(max(len(level) // (_LEAST * alike), 1))
    if fewer < count:
        count, edges = fewer, np.linspace(0, len(level), fewer + 1).astype(int)
        blocks, alike = _blocks(level, kept, smooth, edges)
    noisy = np.repeat(blocks.used, np.diff(edges)) & ~smooth
    if not (kept & noisy).any():
        return Floor(np.full(len(level), float(np.median(level))), noisy, True, 0.0, 1.0)
    middle = np.full(len(level), float(np.median(level[kept & noisy])))
    if count > 1:
        fitted = _parts(blocks, 0, len(level))
        if not (len(fitted) == 1 and len(fitted[0].heights) == 1):
            return Floor(_joined(fitted, blocks), noisy, False, _scatter(fitted, blocks), alike)
    return Floor(middle, noisy, True, blocks.error_db / np.sqrt(max(blocks.used.sum(), 1)), alike)


def _blocks(level: np.ndarray, kept: np.ndarray, smooth: np.ndarray, edges: np.ndarray) -> tuple[_Blocks, float]:
    spans = list(zip(edges[:-1], edges[1:]))
    inside = [level[a:b][kept[a:b]] if kept[a:b].any() else level[a:b] for a, b in spans]
    quartiles = np.array([np.quantile(block, (0.16, 0.5)) for block in inside])
    median, spread = quartiles[:, 1], quartiles[:, 1] - quartiles[:, 0]
    turns = np.array([_turns(level[a:b]) for a, b in spans])
    full = np.array([np.mean(kept[a:b] & ~smooth[a:b]) > 0.5 for a, b in spans])
    # the slope of a line is smooth and goes far: noise turns at every second point or so, and stays together
    usual = float(np.quantile(turns, 0.75))
    used = (turns >= (0.5 * usual if usual > _SMOOTH else 0.0)) & (spread <= 2 * np.median(spread) + 0.5) & full
    if not used.any():
        used = np.ones(len(spans), bool)
    there = kept & np.repeat(used, np.diff(edges)) & ~smooth
    alike = _alike(np.concatenate([_straight(level[a:b], middle) for (a, b), middle in zip(spans, median)]), there)
    off = level - np.repeat(median, np.diff(edges))
    inner = np.quantile(off[there], (0.4, 0.6)) if there.any() else np.zeros(2)
    size = there.sum() / max(used.sum(), 1) / alike
    # root(p (1 - p) / n) / density; levels against the median of their own few points stand too near to it
    error = 0.5 * float(inner[1] - inner[0]) / 0.2 / np.sqrt(max(size, 1.0)) * (1 + 4 / max(size, 1.0))
    return _Blocks(level, edges, median, used, error), alike


def _smooth(level: np.ndarray) -> np.ndarray:
    """Where a large part of the trace goes up or down and hardly turns: the slope of a line, no noise."""
    edges = np.linspace(0, len(level), int(np.clip(len(level) // _LEAST, 1, _COARSE)) + 1).astype(int)
    out = np.zeros(len(level), bool)
    for a, b in zip(edges[:-1], edges[1:]):
        steps = np.sign(np.diff(level[a:b]))
        products = steps[1:] * steps[:-1]
        out[a:b] = np.sum(products < 0) < _FEW_TURNS and len(products) > 0 and np.mean(products > 0) > 0.5
    return out


def _straight(level: np.ndarray, middle: float) -> np.ndarray:
    """Levels of a block against its median and the line through those of its halves."""
    half = len(level) // 2
    slope = (np.median(level[half:]) - np.median(level[:half])) / max(len(level) - half, 1) if half else 0.0
    return level - middle - slope * (np.arange(len(level)) - (len(level) - 1) / 2)


def _turns(level: np.ndarray) -> float:
    steps = np.sign(np.diff(level))
    return float(np.mean(steps[1:] * steps[:-1] < 0)) if len(steps) > 1 else 0.0


def _alike(off: np.ndarray, there: np.ndarray) -> float:
    """1 + 2 x sum of the correlations between signs of neighbours, as far as they stand out of chance."""
    sign = np.where(there, np.sign(off), 0.0)
    total, chance = float(sign @ sign), 2 / np.sqrt(max(there.sum(), 1))
    together = 1.0
    for away in range(1, min(200, len(off) // 4) if total else 1):
        correlation = float(sign[away:] @ sign[:-away]) / total
        if correlation < chance:
            break
        together += 2 * correlation
    return together


@dataclass(frozen=True, eq=False)
class _Part:
    """Points from `first` to before `stop`: heights at knots, which are spread over the blocks that are used."""

    first: int
    stop: int
    knots: np.ndarray
    heights: np.ndarray

    def floor(self) -> np.ndarray:
        """At each point."""
        return np.interp(np.arange(self.first, self.stop), self.knots, self.heights)


def _knots(blocks: _Blocks, rows: np.ndarray, number: int) -> np.ndarray:
    """From the start of the first block to the end of the last, with as many blocks between all."""
    knots = np.quantile(blocks.middle[rows], np.linspace(0, 1, number))
    if number > 1:
        knots[0], knots[-1] = blocks.edges[rows[0]], blocks.edges[rows[-1] + 1] - 1
    return knots


def _parts(blocks: _Blocks, first: int, stop: int) -> list[_Part]:
    """The points from `first` to before `stop`, fitted; cut into several parts where they must be."""
    from scipy.stats import chi2
    rows = _rows(blocks, first, stop)
    if not len(rows):
        return [_Part(first, stop, np.full(1, first), np.full(1, np.nan))]
    if len(rows) == 1:
        return [_Part(first, stop, blocks.middle[rows], blocks.median[rows])]
    at = _cut(blocks, rows)
    fits = [_fit(blocks, first, stop, number) for number in _KNOTS if number == 1 or 2 * number <= len(rows) + 1]
    for k, (heights, off) in enumerate(fits):
        better = any(off - other > chi2.isf(_DOUBT, len(more) - len(heights)) for more, other in fits[k + 1:])
        if better or off > chi2.isf(_DOUBT, max(len(rows) - len(heights), 1)):
            continue
        # lines in pieces follow a step badly, and may do so unnoticed
        if len(heights) <= 2 or off < sum(_fit(blocks, *part, 2)[1] for part in ((first, at), (at, stop))):
            return [_Part(first, stop, _knots(blocks, rows, len(heights)), heights)]
        break
    return [*_parts(blocks, first, at), *_parts(blocks, at, stop)]


def _rows(blocks: _Blocks, first: int, stop: int) -> np.ndarray:
    return np.flatnonzero(blocks.used & (blocks.edges[:-1] >= first) & (blocks.edges[1:] <= stop))


def _fit(blocks: _Blocks, first: int, stop: int, number: int) -> tuple[np.ndarray, float]:
    """Heights at so many knots by least squares, and chi-square of what is left."""
    rows = _rows(blocks, first, stop)
    knots = _knots(blocks, rows, number) if len(rows) else np.zeros(number)
    matrix = np.stack([np.interp(blocks.middle[rows], knots, unit) for unit in np.eye(number)], axis=1)
    heights = np.linalg.lstsq(matrix, blocks.median[rows], rcond=None)[0]
    off = (blocks.median[rows] - matrix @ heights) / max(blocks.error_db, _LEVEL_DB)
    return heights, float(off @ off)


def _cut(blocks: _Blocks, rows: np.ndarray) -> int:
    """The point that begins after the largest step: that between the means of up to two blocks on each side.

    Within these blocks it is where most points stand on the right side of the middle between both levels.
    """
    median = blocks.median[rows]
    sides = [(median[max(0, k - 2):k].mean(), median[k:k + 2].mean()) for k in range(1, len(rows))]
    k = 1 + int(np.argmax([abs(a - b) for a, b in sides]))
    before, after = sides[k - 1]
    begin, end = blocks.edges[rows[k - 1]], blocks.edges[rows[k] + 1]
    up = np.where((blocks.level[begin:end] > (before + after) / 2) == (after > before), 1, -1)
    return int(begin + 1 + np.argmin(np.cumsum(up)[:-1]))


def _joined(parts: list[_Part], blocks: _Blocks) -> np.ndarray:
    """Middle at all points: within half a block of a cut the higher of both sides."""
    smooth = np.concatenate([part.floor() for part in parts])
    there = np.flatnonzero(np.isfinite(smooth))
    smooth = np.interp(np.arange(len(smooth)), there, smooth[there])
    out, near = smooth.copy(), max(1, int(np.diff(blocks.edges).min()) // 2)
    for part in parts[1:]:
        beside = slice(max(part.first - near, 0), part.first + near)
        out[beside] = np.maximum(out[beside], smooth[beside].max())
    return out


def _scatter(parts: list[_Part], blocks: _Blocks) -> float:
    """As many heights as are fitted share the scatter of the blocks; as much again is what lines do not follow."""
    heights = 2 * sum(len(part.heights) for part in parts)
    return blocks.error_db * float(np.sqrt(min(1.0, heights / max(blocks.used.sum(), 1))))
