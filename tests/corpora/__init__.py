"""The real .mid files: what they are (`README.md`), and what holds for every one of them."""
