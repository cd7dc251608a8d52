"""What people read: terminal card, plots, HTML, CSV, JSON."""
