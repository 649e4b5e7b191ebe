-- From here on an answer may be kept packed (gzip). Nothing of the tables changes, but a program that does not know would give the packed bytes out: by this step it refuses to start.
SELECT 1;
