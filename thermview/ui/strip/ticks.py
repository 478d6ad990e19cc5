"""Round numbers for axes, and times as a stopwatch shows them. No Qt."""

from __future__ import annotations

import math

_TIME_STEPS_S = (
    *(0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30),
    *(60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400),
)


def value_ticks(low: float, high: float, most: int) -> tuple[list[float], int]:
    """Return at most `most` + 1 round values from `low` to `high`, and their decimals."""
    span = high - low
    if not (span > 0 and math.isfinite(span)) or most < 1:
        return [], 0
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= span / most * (1 - 1e-9))
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [i * step for i in range(first, math.floor(high / step + 1e-9) + 1)], decimals


def time_ticks(start_s: float, end_s: float, most: int) -> tuple[list[float], float]:
    """Return at most `most` + 1 round times from `start_s` to `end_s`, and their step, s."""
    wanted = (end_s - start_s) / max(most, 1)
    days_s = 86400.0 * math.ceil(wanted / 86400)
    step = next((float(s) for s in _TIME_STEPS_S if s >= wanted), days_s)
    first = math.ceil(start_s / step - 1e-9)
    return [i * step for i in range(first, math.floor(end_s / step + 1e-9) + 1)], step


def clock_text(time_s: float, decimals: int = 2) -> str:
    """Return a time as ``00:12.48``, from an hour on as ``1:02:03.00``."""
    if not math.isfinite(time_s):
        return "--:--"
    sign = "−" if time_s < 0 else ""
    ticks = round(abs(time_s) * 10**decimals)
    whole, fraction = divmod(ticks, 10**decimals)
    minutes, seconds = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    head = f"{hours}:{minutes:02d}" if hours else f"{minutes:02d}"
    tail = f".{fraction:0{decimals}d}" if decimals else ""
    return f"{sign}{head}:{seconds:02d}{tail}"


def tick_text(time_s: float, step_s: float) -> str:
    """Return a time with as many decimals as its axis needs."""
    return clock_text(time_s, 2 if step_s < 0.1 else 1 if step_s < 1 else 0)


def signed(value: float, decimals: int, sign: str = "") -> str:
    """Return a number with a true minus, and with no sign where it rounds to zero."""
    text = f"{value:{sign}.{decimals}f}"
    return text.lstrip("+-") if float(text) == 0 else text.replace("-", "−")
