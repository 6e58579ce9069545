"""The book in a database: the entries, the folded states, the private blobs."""
