"""What a record is: columns, findings, reading and checking the files of a site."""
