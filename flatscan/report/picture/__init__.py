"""The parts of the heat map: paper, colours, floor, marks, labels and key. All sizes on paper are inches."""
