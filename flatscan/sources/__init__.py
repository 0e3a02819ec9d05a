"""Sources: what people can capture becomes one record, the ``Scan``. ``read`` is the one door."""
