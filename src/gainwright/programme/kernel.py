"""The compiled kernel: all filters, sums, counts and peaks of two channels in one pass, while a block is in cache.

Imported only by `compiled`, which sets numba's cache folder. `compiled.CompiledPair` owns the arrays and describes
their contents.
"""

from __future__ import annotations

from typing import Any

from numba import njit

from gainwright.programme.filter_layout import CHUNK, HISTORY, MOST_SECTIONS, OUTPUTS, SEGMENT, TAIL, TICKS
from gainwright.programme.track_statistics import FULL_SCALE
from gainwright.programme.true_peak import BOUNDS, LARGEST_GAIN, PHASES, TAPS
from gainwright.programme.vector_loops import FRAME, TABLE, filter_loop, largest_between, largest_sample_and_step

_FIRST = filter_loop(2, first=True)
_TWO, _FOUR, _EIGHT = (filter_loop(sections, first=False) for sections in (2, 4, MOST_SECTIONS))
(_A0, _B0), (_A1, _B1) = BOUNDS
_ROUNDING = 1 + 1e-5
"""Upper bound of the relative error of single precision."""


def _compiled(function: Any) -> Any:
    return njit(cache=True, nogil=True)(function)


def _filter(
    frames: int, count: int, coefficients: Any, states: Any, sums: Any, kinds: Any, out: int, stride: int, tables: int
) -> None:
    """Run every group of filters over `frames` frames, and count levels."""
    for group in range(kinds.size):
        rows, memory, into = coefficients[group].ctypes.data, states[group].ctypes.data, sums[group].ctypes.data
        signal = 1 + OUTPUTS * group
        to, table = out + signal * stride, tables + signal * TABLE
        if group == 0:
            _FIRST(frames, count, rows, memory, into, to, stride, table)
        elif kinds[group] == 2:
            _TWO(frames, count, rows, memory, into, to, stride, table)
        elif kinds[group] == 4:
            _FOUR(frames, count, rows, memory, into, to, stride, table)
        else:
            _EIGHT(frames, count, rows, memory, into, to, stride, table)


def _close_tick(sums: Any, energies: Any, total: Any) -> None:
    """Store a tick's energies for each signal and channel, add the frames' sums to the totals, and reset the sums."""
    for channel in range(2):
        for group in range(len(sums)):
            for output in range(OUTPUTS):
                energies[1 + OUTPUTS * group + output, channel] = sums[group, 2 * output + channel]
        energies[0, channel] = sums[0, 6 + channel]
        total[channel] += sums[0, 8 + channel]
    sums[:] = 0


def _may_exceed(size: float, step: float, best: float) -> bool:
    """Return whether interpolated points can exceed `best`, given the largest sample and the largest step between samples."""
    bound = min(LARGEST_GAIN * size, max(_A0 * size + _B0 * step, _A1 * size + _B1 * step))
    return bound * _ROUNDING > best


def _exact_between(samples: Any, start: int, best: float) -> float:
    """Return the largest interpolated point of 16 frames in double precision, or `best` if that is larger."""
    for sample in range(start, start + 2 * SEGMENT):
        for phase in range(len(PHASES)):
            point = 0.0
            for tap in range(TAPS):
                point += PHASES[phase, tap] * samples[sample - 2 * tap]
            best = max(best, abs(point))
    return best


def _count_clipped(samples: Any, start: int, runs: Any) -> int:
    """Return the number of samples of 16 frames in runs of two or more at full scale; `runs` carries over between calls."""
    found = 0
    for frame in range(SEGMENT):
        for channel in range(2):
            if abs(samples[start + 2 * frame + channel]) >= FULL_SCALE:
                runs[channel] += 1
                found += 2 if runs[channel] == 2 else (1 if runs[channel] > 2 else 0)
            else:
                runs[channel] = 0
    return found


def _find_peaks(samples: Any, start: int, segments: int, before: Any, peaks: Any, clipped: Any, runs: Any) -> None:
    """Find sample peaks, true peaks and clipped runs in several segments of one signal.

    `before` holds the largest sample and step of the previous segment, `peaks` the largest sample and interpolated
    point so far.
    """
    address = samples.ctypes.data + 4 * start
    whole_size, whole_step = largest_sample_and_step(address, segments)
    peaks[0], peaks[1] = max(peaks[0], whole_size), max(peaks[1], whole_size)
    if whole_size >= FULL_SCALE or runs[0] > 0 or runs[1] > 0:
        for segment in range(segments):
            clipped[0] += _count_clipped(samples, start + 2 * SEGMENT * segment, runs)
    best = peaks[1]
    if _may_exceed(max(whole_size, before[0]), max(whole_step, before[1]), best):
        last_size, last_step = before[0], before[1]
        for segment in range(segments):
            here = address + segment * SEGMENT * FRAME
            size, step = largest_sample_and_step(here, 1)
            passing = _may_exceed(max(size, last_size), max(step, last_step), best)
            if passing and largest_between(here) * _ROUNDING > best:
                best = _exact_between(samples, start + 2 * SEGMENT * segment, best)
            last_size, last_step = size, step
    peaks[1] = best
    before[0], before[1] = largest_sample_and_step(address + (segments - 1) * SEGMENT * FRAME, 1)


def _advance(
    work: Any, frames: int, last: bool, rate_hz: int, clock: Any, coefficients: Any, kinds: Any, states: Any,
    sums: Any, rows: Any, total: Any, signals: Any, buffers: Any, tables: int, before: Any, peaks: Any, clipped: Any,
    runs: Any,
) -> None:  # fmt: skip
    """Analyse a block of frames (whole chunks unless `last`)."""
    stride = buffers.strides[0]
    out = buffers.ctypes.data + HISTORY * FRAME
    at, ticks = clock[0], clock[1]
    end = (clock[2] + 1) * rate_hz // TICKS
    for chunk in range(frames // CHUNK + (1 if last else 0)):
        begin = HISTORY + chunk * CHUNK
        count = min(CHUNK, frames - chunk * CHUNK)
        done = 0
        while done < count:
            take = min(count - done, end - at)
            there = work.ctypes.data + (begin + done) * FRAME
            filter_frames(there, take, coefficients, states, sums, kinds, out + done * FRAME, stride, tables)
            done += take
            at += take
            if at == end:
                close_tick(sums, rows[ticks], total)
                ticks += 1
                clock[2] += 1
                end = (clock[2] + 1) * rate_hz // TICKS
        segments = CHUNK // SEGMENT if count == CHUNK else (count + TAIL) // SEGMENT
        for band in range(signals.size):
            signal = signals[band]
            samples = work if signal == 0 else buffers[signal]
            start = 2 * begin if signal == 0 else 2 * HISTORY
            if signal > 0 and count < CHUNK:
                samples[start + 2 * count : start + 2 * (count + TAIL)] = 0
            find_peaks(samples, start, segments, before[band], peaks[band], clipped[band : band + 1], runs[band])
            if signal > 0:
                samples[: 2 * HISTORY] = samples[2 * CHUNK : 2 * (CHUNK + HISTORY)]
    clock[0], clock[1] = at, ticks


filter_frames, close_tick = _compiled(_filter), _compiled(_close_tick)
_may_exceed, _exact_between, _count_clipped = (
    _compiled(_may_exceed),
    _compiled(_exact_between),
    _compiled(_count_clipped),
)
find_peaks = _compiled(_find_peaks)
advance = _compiled(_advance)
