"""Numbers in, results out: the sciences the trade rests on. No clock, no files, no web."""
