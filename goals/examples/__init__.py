"""The shipped example: an invented club car, its box of invented parts, and goals for two duties."""
