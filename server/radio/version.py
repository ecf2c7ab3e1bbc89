"""Which model computed a margin; a published plan keeps the version that it was published with."""

MODEL_VERSION = "1"
"""Changed whenever the same slots would get other margins, grades or causes."""
