"""The sections of the report, one file each: numbers and words in, plain blocks out."""
