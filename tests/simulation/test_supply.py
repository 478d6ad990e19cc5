"""The simulated supply and what it feeds: Ohm's law and the balance of power."""

from __future__ import annotations

import pytest

from thermview.simulation.supply import BenchSupply, Draw, FedRail, RunningBoard, Setting

STEPS = BenchSupply((Setting(1.0, 1.0, 0.1), Setting(2.0, 1.0, 5.0), Setting(3.0, 0.0, 0.0)))


def test_steps_limit_current_then_voltage() -> None:
    assert STEPS.into(2.0, 0.5) == (0.0, 0.0)
    assert STEPS.into(2.0, 1.5) == pytest.approx((0.2, 0.1))
    assert STEPS.into(2.0, 2.5) == pytest.approx((1.0, 0.5))
    assert STEPS.into(2.0, 3.5) == (0.0, 0.0)


def test_pulses() -> None:
    pulsed = BenchSupply((Setting(1.0, 1.0, 0.1),), period_s=2.0, duty=0.25)
    on = [pulsed.set_to(t)[0] > 0 for t in (0.9, 1.1, 1.4, 1.6, 2.9, 3.1, 3.6)]
    assert on == [False, True, True, False, False, True, False]


def test_power_at_the_terminals_is_shared_by_leads_track_short_and_others() -> None:
    rail = FedRail(
        STEPS, short=0, short_ohm=0.5, lead_ohm=0.2, tracks=((3, 0.1),), others=((1, 2.0), (2, 6.0))
    )
    volts, amps = rail.terminals(1.5)
    powers = rail.powers_w(1.5, 4)
    assert amps == pytest.approx(0.1)
    assert volts * amps == pytest.approx(powers.sum() + amps**2 * 0.2)
    assert powers[0] / powers[3] == pytest.approx(5.0)
    assert rail.powers_w(0.0, 4).sum() == 0.0


def test_current_that_ends_out_of_view_heats_nothing() -> None:
    rail = FedRail(STEPS, short=None, short_ohm=0.5)
    assert rail.terminals(1.5)[1] == pytest.approx(0.1)
    assert rail.powers_w(1.5, 4).sum() == 0.0


def test_running_board_draws_what_its_parts_turn_into_heat() -> None:
    draws = (Draw(0, 0.5), Draw(1, 0.25, from_s=1.0), Draw(2, 1.0, every_s=1.0, share_on=0.5))
    board = RunningBoard(BenchSupply((Setting(2.0, 24.0, 2.0),)), draws, off_board_w=3.0)
    assert board.terminals(1.0) == (0.0, 0.0)
    assert board.powers_w(1.0, 3).sum() == 0.0
    assert board.powers_w(2.2, 3).tolist() == [0.5, 0.0, 1.0]
    assert board.powers_w(3.7, 3).tolist() == [0.5, 0.25, 0.0]
    volts, amps = board.terminals(3.7)
    assert volts * amps == pytest.approx(0.75 + 3.0)
