"""What the other steps need known beforehand: indicator, camera, dropper, balance."""
