"""The body's segments and their centre of mass.

`tables.py`: published shares of mass and places of each segment's centre. `centre.py`: the whole
body's centre from joints marked on a frame. `path.py`: that centre over several frames.
"""
