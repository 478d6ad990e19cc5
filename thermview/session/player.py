"""Which frame to show now: playing, stepping and following, without a window or a clock."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from typing import Protocol

import numpy as np
from numpy.typing import NDArray


class Film(Protocol):
    """What the player needs of a footage."""

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Return the time of every frame, s, strictly increasing."""
        ...

    @property
    def first(self) -> int:
        """Return the oldest frame that can be had."""
        ...

    def __len__(self) -> int: ...


class NoFilm:
    """What a player holds while nothing is open."""

    times_s = np.zeros(0)
    first = 0

    def __len__(self) -> int:
        return 0


class Player:
    """A playhead over a footage, moved by the caller's clock.

    The recording's own, possibly uneven, times decide when a frame is due: `tick` asks where the
    clock stands and names the last frame not after it, so a late tick skips frames and never
    slows the film.
    """

    def __init__(self, film: Film, *, follow: bool = False) -> None:
        self._film = film
        self._follow = follow
        self._playing = False
        self._speed = 1.0
        self._number = 0
        self._anchor: tuple[float, float] | None = None  # (clock, film time) where playing began
        self.loop = False
        self.loop_s: tuple[float, float] | None = None  # what is looped; None: the whole film

    @property
    def playing(self) -> bool:
        """Tell whether the playhead moves by itself through past frames."""
        return self._playing

    @property
    def follow(self) -> bool:
        """Tell whether the playhead stays at the newest frame."""
        return self._follow

    @follow.setter
    def follow(self, on: bool) -> None:
        self._follow = on
        self._stop()

    @property
    def number(self) -> int:
        """Return the frame under the playhead; -1 while there is none."""
        return self._number if len(self._film) else -1

    @property
    def speed(self) -> float:
        """Return how many seconds of film pass in one second."""
        return self._speed

    @speed.setter
    def speed(self, speed: float) -> None:
        self._speed = speed
        self._anchor = None

    def play(self) -> None:
        """Let the film run from the playhead; from the start when it stands at the end."""
        if self._number >= len(self._film) - 1:
            self._number = self._film.first
        self._follow = False
        self._playing = True
        self._anchor = None

    def pause(self) -> None:
        """Hold the frame that is shown."""
        self._follow = False
        self._stop()

    def toggle(self) -> None:
        """Play when held, hold when playing or following."""
        if self._playing or self._follow:
            self.pause()
        else:
            self.play()

    def step(self, frames: int) -> None:
        """Hold, and move by some frames, backwards when negative."""
        self.seek(self._number + frames)
        self._stop()

    def seek(self, number: int) -> None:
        """Put the playhead on a frame, kept inside the film; goes on playing if it was."""
        self._follow = False
        self._number = self._inside(number)
        self._anchor = None

    def seek_time(self, time_s: float) -> None:
        """Put the playhead on the frame shown at a time."""
        self.seek(bisect_right(self._film.times_s, time_s) - 1)

    def tick(self, now_s: float) -> int:
        """Return the frame to show when the caller's clock reads `now_s`; -1 for none."""
        count = len(self._film)
        if count == 0:
            return -1
        if self._follow:
            self._number = count - 1
        elif self._playing:
            self._advance(now_s, count)
        self._number = self._inside(self._number)
        return self._number

    def _advance(self, now_s: float, count: int) -> None:
        times = self._film.times_s
        if self._anchor is None:
            self._anchor = (now_s, float(times[self._inside(self._number)]))
        clock_s, film_s = self._anchor
        due_s = film_s + (now_s - clock_s) * self._speed
        self._number = self._inside(bisect_right(times, due_s) - 1)
        first, last = self._stretch(times, count)
        if self._number < last:
            return
        if self.loop:
            if due_s >= times[last] + self._step_before_s(times, last):
                self._number = first
                self._anchor = (now_s, float(times[self._number]))
        else:
            self._stop()

    def _stretch(self, times: NDArray[np.float64], count: int) -> tuple[int, int]:
        """Return first and last frame of what is played: the film, or the looped interval."""
        if not self.loop or self.loop_s is None:
            return self._film.first, count - 1
        first = self._inside(bisect_left(times, self.loop_s[0]))
        return first, max(first, self._inside(bisect_right(times, self.loop_s[1]) - 1))

    @staticmethod
    def _step_before_s(times: NDArray[np.float64], last: int) -> float:
        """Return how long the last frame is shown before the film starts again."""
        return float(times[last] - times[last - 1]) if last > 0 else 0.0

    def _inside(self, number: int) -> int:
        return max(self._film.first, min(number, len(self._film) - 1))

    def _stop(self) -> None:
        self._playing = False
        self._anchor = None
