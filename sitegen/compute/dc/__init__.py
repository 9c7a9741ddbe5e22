"""Figures taken from measured curves: arrays of many curves in, one estimate a curve out."""
