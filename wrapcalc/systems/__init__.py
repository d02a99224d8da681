"""Wrap-system data sheets: the model, the shipped (invented) examples, and a user's own sheet."""

from wrapcalc.systems.model import System
from wrapcalc.systems.sheets import load_system, shipped_systems

__all__ = ["System", "load_system", "shipped_systems"]
