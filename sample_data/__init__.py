"""Invented trials, ready to be read, and the generators that made them.

Importing this package imports nothing else: numpy is needed only to make trials anew (`ride_model`, `fit_writer`).
"""
