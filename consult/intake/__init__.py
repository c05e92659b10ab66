"""Files that people hand over, made safe before they are kept."""
