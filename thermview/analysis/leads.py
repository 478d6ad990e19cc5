"""What the leads between supply and board keep for themselves: P = V·I − I²R (Joule's law)."""

from __future__ import annotations

import numpy as np

from thermview.frames import SupplyLog
from thermview.units import watts_text

MOST_OHM = 100.0
"""Leads of more are none."""


def after_leads(log: SupplyLog, lead_ohm: float) -> SupplyLog:
    """Return what a supply's log would be at the board's end of the leads.

    Parameters
    ----------
    log : SupplyLog
        At the supply's terminals.
    lead_ohm : float
        Of both leads together, with their clips, Ω.
    """
    drop_v = np.nan_to_num(log.current_a) * lead_ohm
    return SupplyLog(log.time_s, np.maximum(log.voltage_v - drop_v, 0.0), log.current_a)


def leads_words(log: SupplyLog, lead_ohm: float) -> str:
    """Return in words what the leads take while the supply is on, of what it gives."""
    gives_w = np.nan_to_num(log.voltage_v * log.current_a)
    if not gives_w.max(initial=0.0) > 0:
        return ""
    board = after_leads(log, lead_ohm)
    kept_w = np.nan_to_num(board.voltage_v * board.current_a)
    on = gives_w > 0.3 * np.percentile(gives_w, 99)
    whole_w, left_w = float(np.median(gives_w[on])), float(np.median(kept_w[on]))
    words = (
        f"leads of {lead_ohm:.3g} Ω take {watts_text(whole_w - left_w)} of the supply's "
        f"{watts_text(whole_w)}: the board gets {watts_text(left_w)} at most"
    )
    if left_w <= 0.0:
        words += "; that cannot be: measure the leads' resistance again"
    return words
