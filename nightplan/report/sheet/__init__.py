"""The field sheet, one HTML file."""
