"""Trains the shop additions to the bundled weights: speech of our own, the shop around it, the fit.

Nothing here is used when fieldlog listens; the outcome is ``listeners/whisper/adapter.npz``.
"""
