"""Electrode kinetics: current against overpotential, and charge against mass."""
