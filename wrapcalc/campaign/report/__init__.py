"""After the packages: what they say together, as HTML, PDF and parts for the workbook."""
