"""Recordings from a second simulator.

It was written from the published facts alone, without knowledge of the first one
(``tapfall.synth``), and shares no code with it.  What is fitted on the first is
checked on this; no network is fitted on it.  One number was chosen after seeing its
seeds 0 to 49: from which rate of the log on its pulses make the clock
(``SLOWEST_LOG_HZ``).  Figures to be reported therefore begin at seed 1000.

Sources stand beside the numbers that have one; every other range is our choice.
Clocks: every ``time_s`` is audio time; log time is audio time plus ``lag_s``.
"""
