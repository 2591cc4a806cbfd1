"""Bands on every recommendation: what the ranges of the inputs make of them."""
