"""Landmarks of a head that nobody has marked, from its parts, openings, profile and what its shapes move.

What is found is an estimate, to be looked at, corrected and accepted; what is only guessed by proportion says so.
"""
