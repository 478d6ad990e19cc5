"""One heat model for both boards: which subjects dissipate how much, neighbours' heat taken out.

Each subject has one template, shared by both boards: its place's κ, its body's lag and excess are
fitted to both together, its power to each. Errors of the template are then the same on both
boards and cancel in their ratio.

Templates are chosen by all that is seen, powers told by edges: what no model tells exactly (a
neighbour's heat as the board spreads it) is smooth, while a part's own body, and the board close
under it, end where the part ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermview.analysis.nonnegative import nonnegative_by_products
from thermview.analysis.pair.clock import Courses
from thermview.analysis.pair.patches import Cut, Patches
from thermview.analysis.pair.plane import Pictures, Plane, Subject, highpass
from thermview.analysis.pair.templates import Library, usual_excess, usual_lag
from thermview.analysis.pair.watts import Drawn, Products, drawn

Floats = NDArray[np.float64]

SWEEPS = 2
FITTED = 40
"""So many subjects, the warmest, get a template of their own."""
EXCESS_SPAN = (0.25, 4.0)
FIRST_KAPPA = 0.009
EDGE = 2.0  # cells; what is wider is no edge
PLAIN = 50.0  # energy in units of the noise from which a subject is worth fitting


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """Powers of all subjects on both boards, told by edges.

    Attributes
    ----------
    power_w : ndarray, shape (2, subject)
        The good board's, the other's; at an emissivity of 1.
    columns : ndarray of float32, shape (subject, course, row, column)
        Edges of templates, K/W.
    gram : ndarray, shape (subject, subject)
        Their scalar products.
    left : ndarray of float32, shape (2, course, row, column)
        What the model does not explain of edges, K.
    """

    power_w: Floats
    columns: Pictures
    gram: Floats
    left: Pictures


class JointFit:
    """Fits both boards' coefficients on one plane."""

    def __init__(self, plane: Plane, subjects: Sequence[Subject], courses: Courses) -> None:
        self.subjects = subjects
        self.excess = np.array([usual_excess(s.area_m2) for s in subjects])
        self._usual = self.excess.copy()
        self.drawn = [Drawn()] * len(subjects)
        self.library = Library(plane, courses)
        start = Library(plane, courses, (FIRST_KAPPA,))
        self.columns = np.zeros((len(subjects), courses.count, *plane.shape), np.float32)
        self.cuts = [start.window(s).slices for s in subjects]
        for at, subject in enumerate(subjects):
            lag = usual_lag(subject.area_m2)
            sheet = start.sheet(subject, [lag])[0]
            shown = start.bodily(subject, lag) * np.float32(self.excess[at])
            self.columns[at][:, *self.cuts[at]] = sheet + shown

    def fit(self, seen: Pictures, noise_k: float) -> Fitted:
        """Suit the templates to both boards, and return the powers that edges tell.

        Parameters
        ----------
        seen : ndarray of float32, shape (2, course, row, column)
            Coefficients, high-passed as templates are.
        noise_k : float
            Of a coefficient.
        """
        fitted = _solved(seen, self.columns, self.cuts)
        energy = np.sum(fitted.power_w**2, axis=0) * np.diag(fitted.gram)
        order = np.argsort(-energy)[:FITTED]
        chosen = [int(i) for i in order if energy[i] > PLAIN * noise_k**2]
        sheets = {i: self.library.sheet(self.subjects[i]) for i in chosen}
        bodies = {i: self.library.body(self.subjects[i]) for i in chosen}
        for sweep in range(SWEEPS):
            left, power = fitted.left, fitted.power_w
            for i in chosen:
                products = self._suit(i, sheets[i], bodies[i], left, power)
                if sweep == SWEEPS - 1:
                    self.drawn[i] = drawn(
                        products,
                        self.library.choices,
                        self.library.courses,
                        self.subjects[i],
                        power[:, i],
                    )
            fitted = _solved(seen, self.columns, self.cuts)
        return self.by_edges(seen)

    def by_edges(self, seen: Pictures) -> Fitted:
        """Return the powers that edges tell: what is no wider than `EDGE`."""
        reach = round(4 * EDGE)
        columns = np.zeros_like(self.columns)
        rows, across = columns.shape[2:]
        wide = [
            (
                slice(max(y.start - reach, 0), min(y.stop + reach, rows)),
                slice(max(x.start - reach, 0), min(x.stop + reach, across)),
            )
            for y, x in self.cuts
        ]
        for edges, whole, cut in zip(columns, self.columns, wide, strict=True):
            edges[:, *cut] = highpass(whole[:, *cut], EDGE)
        return _solved(np.stack([highpass(p, EDGE) for p in seen]), columns, wide)

    def _suit(
        self,
        i: int,
        sheet: NDArray[np.float32],
        body: NDArray[np.float32],
        left: Pictures,
        power: Floats,
    ) -> Products:
        """Choose κ, lag and excess of a subject for both boards; the others' heat taken off.

        Return the templates' products with what is seen of the subject.
        """
        cut = (slice(None), *self.cuts[i])
        old = self.columns[i][cut].copy()
        seen = np.stack([left[b][cut] + np.float32(power[b, i]) * old for b in (0, 1)])
        products = self._products(sheet, body, seen)
        best = (-1.0, 0, self.excess[i], power[:, i])
        for c in range(len(self.library.choices)):
            found = _pooled(
                products, c, (EXCESS_SPAN[0] * self._usual[i], EXCESS_SPAN[1] * self._usual[i])
            )
            if found[0] > best[0]:
                best = (found[0], c, found[1], found[2])
        _, c, self.excess[i], watts = best
        course = self.library.courses.body[self.library.choices[c][1]].astype(np.float32)
        new = sheet[c] + np.float32(self.excess[i]) * course[:, None, None] * body
        self.columns[i][cut] = new
        for b in (0, 1):
            left[b][cut] = seen[b] - np.float32(watts[b]) * new
        power[:, i] = watts
        return products

    def _products(
        self, sheet: NDArray[np.float32], body: NDArray[np.float32], seen: Pictures
    ) -> Products:
        """Return scalar products of a subject's templates with what is seen and each other."""
        count = sheet.shape[1]
        flat, flat_body = seen.reshape(2, count, -1), body.ravel()
        sheets = sheet.reshape(len(sheet), count, -1)
        courses = self.library.courses.body[[lag for _, lag in self.library.choices]]
        return Products(
            np.einsum("cmp,bmp->cb", sheets, flat, optimize=True),
            courses @ np.einsum("bmp,p->mb", flat, flat_body),
            np.einsum("cmp,cmp->c", sheets, sheets),
            np.sum(courses * np.einsum("cmp,p->cm", sheets, flat_body), axis=1),
            np.sum(courses**2, axis=1) * float(np.sum(body**2)),
        )


def _pooled(
    products: Products, choice: int, span: tuple[float, float]
) -> tuple[float, float, Floats]:
    """Return (explained energy, excess, powers) with one excess for both boards, in turns.

    Parameters
    ----------
    products : Products
    choice : int
        Of κ and lag.
    span :
        Least and most excess, K/W.
    """
    on_sheet, on_body = products.on_sheet[choice], products.on_body[choice]
    sheet, both, body = (float(p[choice]) for p in (products.sheet, products.both, products.body))
    excess = float(np.sqrt(span[0] * span[1]))
    power = np.zeros(2)
    for _ in range(4):
        size = sheet + 2 * excess * both + excess**2 * body
        power = np.maximum((on_sheet + excess * on_body) / size, 0.0)
        total = float(power @ power)
        if total <= 0:
            return 0.0, excess, power
        wanted = float(power @ (on_body - power * both)) / (total * body)
        excess = float(np.clip(wanted, *span))
    size = sheet + 2 * excess * both + excess**2 * body
    power = np.maximum((on_sheet + excess * on_body) / size, 0.0)
    return float(2 * power @ (on_sheet + excess * on_body) - power @ power * size), excess, power


def _solved(seen: Pictures, columns: Pictures, cuts: Sequence[Cut]) -> Fitted:
    """Return the powers of templates that are zero beyond their cuts."""
    whole = zip(columns, cuts, strict=True)
    patches = Patches(cuts, [column[None, :, *cut] for column, cut in whole])
    gram = patches.gram()
    power = np.stack([nonnegative_by_products(gram, patches.products(p)) for p in seen])
    left = [board - patches.summed(p, board) for p, board in zip(power, seen, strict=True)]
    return Fitted(power, columns, gram, np.stack(left))
