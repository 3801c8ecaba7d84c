"""From marks on frames to numbers with their ±.

`uncertain.py`: a number, what it rests on, and how sure it is.
"""
