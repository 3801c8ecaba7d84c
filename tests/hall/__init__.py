"""A simulated hall: soundtracks of several cameras with imposed truth, and a judge of fits."""
