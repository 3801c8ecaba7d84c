"""How dates and times are written where a language needs other than its default."""
