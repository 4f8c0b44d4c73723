"""What is where, for people and their programs: rows, the CSV file, the JSON document."""
