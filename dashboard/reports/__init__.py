"""What is printed: the same words and charts as on the pages, on paper, in a spreadsheet, or as text."""
