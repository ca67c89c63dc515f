"""What the page tells, section by section: plain values for the templates, and no sentences."""
