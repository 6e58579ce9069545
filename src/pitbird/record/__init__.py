"""The book as bytes: canonical form, Merkle tree, leaves, seals, signatures and the export with its verifier.

Pure: the standard library and ``cryptography`` only. Nothing here reads a clock, draws a random number or
opens a file.
"""
