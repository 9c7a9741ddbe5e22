"""Calibration, correction and verification of S-parameters: arrays in, frozen records out.

Conventions in the whole room: time dependence exp(+j omega t); power waves at a real
reference impedance; S21 has the receiving port first; frequency is the axis before the two
port axes, so arrays are (..., n_freq) for one port and (..., n_freq, 2, 2) for two.
NaN means "not determined" and is never replaced by a number.
"""
