"""What is printed: PDF pages with their letters in the file and no network."""
