"""One frame to one observation: vessel, white, colour, turbidity, trust."""
