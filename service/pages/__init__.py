"""Pages: what the API has, as HTML that can be read without the script."""
