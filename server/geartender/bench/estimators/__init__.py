"""Estimators: recorded arrays in, values with their standard uncertainty out. Pure, numpy only; SI units."""
