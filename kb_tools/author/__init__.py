"""What changes a library's files."""
