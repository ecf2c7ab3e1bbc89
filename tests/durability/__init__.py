"""A busy day on a server that dies: what was answered has to be there, and nothing by half."""
