"""The demo: an invented water and biogas undertaking, its fleet, and two years of its record book.

Everything here is made up; nothing here reads a clock or draws on randomness but the seed it is given.
"""

from __future__ import annotations

from pitbird.demo.entries import Fault, Simulated
from pitbird.demo.simulator import run, simulate
from pitbird.demo.wear import Episode
from pitbird.demo.world import World

__all__ = ["Episode", "Fault", "Simulated", "World", "run", "simulate"]
