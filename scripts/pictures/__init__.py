"""Pictures that README shows, and what the layout of pictures knows of a font."""
