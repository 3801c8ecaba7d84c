"""Who is let through at each URL, in one table for each area.

A new URL is a row in its area's `ROWS`; a name may stand more than once, with what it is about
after the #. Is it about something new, then a method of the area's class makes that:
`Row("carded swim", …)` asks `carded_swim()` for the URL's arguments. `whole.py` joins the areas,
`tests/test_matrix.py` walks them.

Who: S the swimmer whose things these are, W another swimmer of the clinic, X a swimmer who
withdrew, C coach, K checker, R crew, A club admin; of the other club c coach, a admin (and
checker there), s swimmer; - nobody signed in.
"""
