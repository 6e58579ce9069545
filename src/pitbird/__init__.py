"""pitbird: the record book, the gate and the sums of the person who answers for portable gas detectors."""

__version__ = "0.1.0"
