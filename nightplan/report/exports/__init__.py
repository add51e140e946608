"""Files for other programs: calendar, table, FITS header, footprint."""
