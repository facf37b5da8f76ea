"""Pages and pictures: self-contained HTML that opens from a file."""
