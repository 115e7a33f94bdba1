"""Telling people and programs what falls due and what has happened: once at each stage, and in time.

What there is to tell becomes a row for each receiver (`raising`), unique by the database; a row is claimed by
a conditional update, told, and noted (`sending`, `calling`). Processes may do so side by side and be killed
at any moment.
"""
