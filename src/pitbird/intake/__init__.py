"""Other people's data -> entries or faults. Pure: what is known is handed in, nothing is looked up."""
