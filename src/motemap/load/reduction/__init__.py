"""From stored values to one plane of linear light: defects out, colours level, binned."""
