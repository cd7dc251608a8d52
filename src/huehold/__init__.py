"""Watch a kitchen titration, call the endpoint that holds, compute the result."""

__version__ = "0.1.0"
