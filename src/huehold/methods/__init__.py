"""One titration as data: reaction, colours, hold, dose, cautions, sources."""

from huehold.methods.loader import list_methods, load_method, method_from_dict
from huehold.methods.model import Colour, Endpoint, Indicator, Method

__all__ = [
    "Colour",
    "Endpoint",
    "Indicator",
    "Method",
    "list_methods",
    "load_method",
    "method_from_dict",
]
