"""Use cases: the only place with clock and database together."""
