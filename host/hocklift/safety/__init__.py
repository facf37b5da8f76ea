"""What can hurt somebody, what stands against it, and the page that says so."""
