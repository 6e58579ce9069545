"""Papers that leave the house: each use case reads the book, makes a checkpoint and prints."""
