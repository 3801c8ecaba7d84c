"""The demo clinic: an invented afternoon at an invented pool, drawn as real media files.

It serves the demo installation and the tests alike, so that both look at the same clinic. Nothing
here needs Django: numbers and a folder go in, files and their truth come out.
"""
