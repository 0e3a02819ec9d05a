"""Sources: what people can capture becomes one record, the ``Scan``. ``read`` is the one door."""

from flatscan.sources.door import read
from flatscan.sources.scan import InputFile, PosedFrame, Scan

__all__ = ["InputFile", "PosedFrame", "Scan", "read"]
