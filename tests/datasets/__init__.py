"""What others have published about files, values and formats, held against this program."""
