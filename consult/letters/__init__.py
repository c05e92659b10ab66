"""Letters as paper: their words, their picture, their page and their PDF."""
