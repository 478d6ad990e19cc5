"""What leads take: Joule's law, and Kirchhoff's for the voltage that is left."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from thermview.analysis.leads import after_leads, leads_words
from thermview.frames import SupplyLog


def log(volts: float, amps: float) -> SupplyLog:
    times_s = np.arange(0.0, 10.0, 0.1)
    on = times_s >= 3.0
    return SupplyLog(times_s, np.where(on, volts, 0.0), np.where(on, amps, 0.0))


@given(volts=st.floats(0.1, 30), load_ohm=st.floats(0.05, 100), lead_ohm=st.floats(0.0, 2.0))
def test_a_divider(volts: float, load_ohm: float, lead_ohm: float) -> None:
    """Leads and load in series: the load's power is V²·R/(R + r)²."""
    amps = volts / (load_ohm + lead_ohm)
    board = after_leads(log(volts, amps), lead_ohm)
    power_w = board.voltage_v[-1] * board.current_a[-1]
    np.testing.assert_allclose(power_w, volts**2 * load_ohm / (load_ohm + lead_ohm) ** 2, rtol=1e-9)
    np.testing.assert_allclose(board.voltage_v[0], 0.0)


def test_words() -> None:
    assert leads_words(log(1.0, 2.0), 0.1) == (
        "leads of 0.1 Ω take 400 mW of the supply's 2 W: the board gets 1.6 W at most"
    )
    assert "measure the leads" in leads_words(log(1.0, 2.0), 0.8)  # more than all the volts
    assert leads_words(log(0.0, 0.0), 0.1) == ""
