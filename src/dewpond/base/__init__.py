"""Values, settings and array algorithms that every step may use; imports no step."""
