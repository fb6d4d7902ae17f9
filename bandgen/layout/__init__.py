"""Spec to numbers: stations, seams, derived radii, degenerate events, predictions. No kernel."""
