"""A person with a straightedge, a level and a rule, measuring an invented floor."""

from flatscan.synth.hand.layout import Laying, Layout, SetUp
from flatscan.synth.hand.person import Person
from flatscan.synth.hand.reading import read_by_hand
from flatscan.synth.hand.write import write_readings

__all__ = ["Laying", "Layout", "Person", "SetUp", "read_by_hand", "write_readings"]
